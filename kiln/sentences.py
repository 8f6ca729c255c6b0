"""Small turns of language that sentences about wood are put together with."""

from __future__ import annotations


def capital(text: str) -> str:
    """Return the text as the beginning of a sentence."""
    return text[:1].upper() + text[1:]


def lower(text: str) -> str:
    """Return a sentence as it goes on inside another."""
    return text[:1].lower() + text[1:]
