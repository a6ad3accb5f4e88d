"""Plots and printable pages; no computation."""
