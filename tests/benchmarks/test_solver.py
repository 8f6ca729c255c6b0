"""The compiled solver beside a general-purpose ODE solver on the same cells and the same film, in one run.

`make bench` prints the ratio; the figures kept, with date, machine and commit, are in docs/benchmarks.md.
"""

import time

import numpy as np
from scipy.integrate import solve_ivp

from kiln import diffusion, march, sorption

DAYS, BOARDS = 30, 64
T_C, RH = 20.0, 60.0


def members(count):
    values = (0.014, 520.0, 1e-10, 1.15, 0.0, 1.0, 4.0, 0.0, 1.0)
    return diffusion.Members(*(np.full(count, v) for v in values), np.zeros(count, np.int64))


def ours(count):
    hours = DAYS * 24
    air = diffusion.AirSteps(np.full((1, hours), T_C), np.full((1, hours), RH), np.full(hours, 3600.0))
    return diffusion.march(
        np.full((count, diffusion.NODES), 0.8), members(count), air, np.array([hours]), hysteresis=False
    )


def general():
    """LSODA with a right-hand side in numpy, the film by our own compiled function."""
    half, density, d20, b, _, kappa, h_c, _, scale = members(1).as_rows()[:, 0]
    share, x = diffusion.cell_shares(), diffusion.node_positions_m(1.0)
    physical, c = diffusion._physical(), sorption.coefficients()
    t_k = T_C + 273.15
    p_sat = march._p_sat(t_k, physical[6:])
    beta = h_c / (physical[5] / (physical[1] * t_k) * physical[2] * physical[4]) / (physical[0] * t_k)
    slope = march._p_sat(t_k + 0.5, physical[6:]) - march._p_sat(t_k - 0.5, physical[6:])
    terms = [c[3 * i] + c[3 * i + 1] * T_C + c[3 * i + 2] * T_C**2 for i in range(4)]
    surface = np.array([p_sat * RH / 100, p_sat, beta, beta * physical[3] / h_c, slope, scale, 1.0, *terms, c[12]])
    m_f = march.SATURATION_SCALE * scale

    def rhs(_, m):
        z = m - m_f
        phi = np.where(z < 0, np.expm1(b * np.minimum(z, 0)) / b, kappa * z)
        flow = d20 * np.diff(phi) / (half * half * np.diff(x))
        flux, _ = march._film(m[-1], surface)
        return (np.append(flow, -flux / (density * half)) - np.append(0.0, flow)) / share

    made = solve_ivp(
        rhs, (0, DAYS * 86400), np.full(diffusion.NODES, 0.8), "LSODA", rtol=1e-6, atol=1e-9, lband=1, uband=1
    )
    return made.y[:, -1]


def seconds(work):
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def test_against_a_general_purpose_ode_solver(capsys):
    ours(1), general()
    batch_s, batch = min((seconds(lambda: ours(BOARDS)) for _ in range(5)), key=lambda r: r[0])
    general_s, reference = min((seconds(general) for _ in range(3)), key=lambda r: r[0])
    apart = abs(diffusion.mean_of(batch[0, 0]) - diffusion.mean_of(reference))
    with capsys.disabled():
        steps = BOARDS * DAYS * 24 / batch_s
        print(
            f"\n{steps:,.0f} board-steps/s; {general_s / (batch_s / BOARDS):,.0f} times LSODA per board; "
            f"mean moisture apart {100 * apart:.4f} %MC"
        )
    assert apart < 1e-3
