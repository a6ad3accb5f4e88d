"""The allowances of ``allowances.toml``: what may differ between a description and the real unit."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

from lostgain.unit.source import Source, Table, own_source

#: What of ``[model]`` is a probability.
PROBABILITIES = ("loose", "wild", "beyond", "maker_severity", "astray", "shared")
#: Tables of the file that a unit may have its own figures for.
OF_UNIT = ("generator", "control", "model")


@dataclass(frozen=True)
class Allowances:
    """One standard deviation each; the file says what each is for."""

    generator_level_db: float
    generator_step_db: float
    control_setting_db: float
    control_tracking_db: float
    model_level_point_db: float
    model_level_each_db: float
    model_device_gain: float
    model_device_db: float
    model_loose: float
    model_loose_point_db: float
    model_loose_each_db: float
    model_distorted_point_db: float
    model_distorted_each_db: float
    model_residue: float
    model_dc_share: float
    model_dc_volts: float
    model_dc_like: float
    model_size_level: float
    model_size_dc: float
    model_near_level: float
    model_near_dc: float
    model_wild_level: float
    model_wild_dc: float
    model_far_share: float
    model_wild: float
    model_beyond: float
    model_maker_severity: float
    model_astray: float
    model_astray_db: float
    model_astray_dc: float
    model_shared: float
    model_shared_db: float
    model_current_share: float
    model_watts_share: float
    model_watts: float
    model_ohms_share: float
    model_junction_share: float
    model_esr_share: float
    model_mains_efficiency: float
    words_same_db: float
    words_same_dc_volts: float
    words_nothing_db: float
    words_low_db: float
    words_slip: float
    scale_dc_volts: float
    scale_amperes: float
    scale_watts: float
    scale_ohms: float
    scale_esr: float
    prior_healthy: float
    prior_unexplained: float
    prior_stray: float
    prior_broad_db: float
    prior_broad_dc: float
    call_faulty: float


@cache
def allowances(folder: Path | None = None) -> Allowances:
    """Return the allowances as shipped, with what a unit's own ``allowances.toml`` says otherwise.

    Parameters
    ----------
    folder : Path or None
        The unit's folder. Its file has the same form and may be short; what a unit may change is what differs from
        unit to unit: ``[generator]``, ``[control]`` and ``[model]``.

    Raises
    ------
    UserError
        For a table or a name that is none, a value that is no number of zero or more, or a probability above one.
    """
    shipped = tomllib.loads(files("lostgain.diagnosis").joinpath("allowances.toml").read_text(encoding="utf-8"))
    own = own_source(folder, "allowances.toml") if folder is not None else None
    if own is not None:
        _overlay(shipped, own)
    return Allowances(
        **{f"{table}_{name}": float(value) for table, row in shipped.items() for name, value in row.items()}
    )


def _overlay(shipped: dict[str, dict[str, float]], source: Source) -> None:
    top = Table(source, (), "the file", source.data)
    for name in OF_UNIT:
        row = top.table(name, f"[{name}]")
        for key in shipped[name]:
            value = row.get(key, (int, float), "a number", shipped[name][key])
            if value is not None and not value >= 0:
                row.wrong(key, f"{key} = {value} should be zero or more.")
            elif value is not None and key in PROBABILITIES and value > 1:
                row.wrong(key, f"{key} = {value} is a probability, and should be one at most.")
            else:
                shipped[name][key] = float(value)
        row.finish()
    top.finish()
    source.settle()
