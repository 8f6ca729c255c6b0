"""Small turns of language that sentences about wood are put together with."""

from __future__ import annotations


def capital(text: str) -> str:
    """Return the text as the beginning of a sentence."""
    return text[:1].upper() + text[1:]


def in_100(probability: float) -> str:
    """Return a probability in words that do not claim more than it does."""
    if probability < 0.01:
        return "less than 1 in 100"
    if probability > 0.99:
        return "more than 99 in 100"
    return f"{round(probability * 100)} in 100"


def lower(text: str) -> str:
    """Return a sentence as it goes on inside another."""
    return text[:1].lower() + text[1:]
