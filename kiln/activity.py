"""The printed isotherm and its inverse, in arithmetic that goes into vectors; its equations: ``kiln.sorption``."""

from __future__ import annotations

from kiln.lanes import compiled

ACTIVITY_STEPS = 3  # of Newton's, from where the last ones ended


@compiled
def printed_measure(u: float, k1: float, k12: float) -> float:
    """The printed isotherm's own measure of moisture content (W M / 1800) at u = K h."""
    return u / (1.0 - u) + (k1 * u + 2.0 * k12 * u * u) / (1.0 + k1 * u + k12 * u * u)


@compiled
def towards(u: float, target: float, k1: float, k12: float):  # type: ignore[no-untyped-def]
    """One Newton step on the isotherm as a cubic in u = K h; return the step, and du/d(target) where it began."""
    c3 = k12 * (1.0 - target)
    c2 = target * (k12 - k1) - 2.0 * k12
    c1 = target * (k1 - 1.0) - 1.0 - k1
    value = ((c3 * u + c2) * u + c1) * u + target
    inverse = 1.0 / ((3.0 * c3 * u + 2.0 * c2) * u + c1)
    return -value * inverse, -(1.0 - u) * ((k12 * u + k1) * u + 1.0) * inverse


@compiled
def bracketed(target, k, k1, k12):  # type: ignore[no-untyped-def]
    """The u = K h at which the printed isotherm holds ``target``, whatever it is: Newton within a bracket."""
    low, high = 0.0, k
    u = k * target / printed_measure(k, k1, k12)
    for _ in range(80):
        if printed_measure(u, k1, k12) > target:
            high = u
        else:
            low = u
        step, _slope = towards(u, target, k1, k12)
        new = u + step
        if not (low < new < high):
            new = 0.5 * (low + high)
        if abs(new - u) < 1e-15:
            return new
        u = new
    return u
