"""Probabilities as they are written everywhere: in text, tables and pictures."""

from __future__ import annotations


def percent(share: float) -> str:
    """Return a probability: ``91 %``, ``0.4 %``, ``<0.1 %``; never 0 or 100 % of what is not certain."""
    if share >= 0.995:
        return ">99 %"
    if share < 0.001:
        return "<0.1 %"
    return f"{share * 100:.0f} %" if share >= 0.1 else f"{share * 100:.1f} %"
