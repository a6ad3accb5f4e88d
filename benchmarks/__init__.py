"""Benchmarks: how good the diagnosis is, measured on simulated repairs. No part of the product, and not in the wheel.

The simulated repairs share nothing with the signature table but the unit file: ``process.toml`` states the process they
come from, and the code here draws, breaks, follows and reads them by its own means.
"""
