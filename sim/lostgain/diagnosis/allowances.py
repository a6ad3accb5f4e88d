"""The allowances of ``allowances.toml``: what may differ between a description and the real unit."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True)
class Allowances:
    """One standard deviation each; the file says what each is for."""

    generator_level_db: float
    control_setting_db: float
    control_tracking_db: float
    model_level_point_db: float
    model_level_each_db: float
    model_dc_share: float
    model_dc_volts: float
    model_shared: float
    model_shared_db: float
    model_current_share: float
    model_watts_share: float
    model_watts: float
    model_mains_efficiency: float
    words_same_db: float
    words_same_dc_volts: float
    words_nothing_db: float
    words_low_db: float
    words_slip: float
    scale_dc_volts: float
    scale_amperes: float
    scale_watts: float
    prior_healthy: float
    prior_unexplained: float
    prior_broad_db: float
    prior_broad_dc: float


@cache
def allowances() -> Allowances:
    """Return the allowances as shipped."""
    data = tomllib.loads(files("lostgain.diagnosis").joinpath("allowances.toml").read_text(encoding="utf-8"))
    return Allowances(**{f"{table}_{name}": float(value) for table, row in data.items() for name, value in row.items()})
