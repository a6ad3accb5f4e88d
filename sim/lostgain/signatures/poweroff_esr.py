"""The ESR that a good electrolytic is expected to have, and what it becomes as the part dries out."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import exp, log, pi

import numpy as np

#: Series of the table.
SERIES = ("general", "low-impedance")
#: Frequency of the table [Hz].
AT = 100e3
#: However dry, its ESR is not followed further than this many times the good one's: it counts as open then.
DRIEST = 1e4


@dataclass(frozen=True)
class Row:
    """A row of ``esr.toml``; the file says what each key is for."""

    series: str
    farads: float
    volts: tuple[float, ...]
    ohms: tuple[float, ...]
    source: str


@dataclass(frozen=True)
class EsrTable:
    """The whole of ``esr.toml``."""

    tan_delta: float
    part_times: float
    lost_power: float
    lost_times: float
    kinds: tuple[str, ...]
    no_rating: float
    rows: tuple[Row, ...]


@cache
def esr_table() -> EsrTable:
    """Return the table as shipped."""
    data = tomllib.loads(files("lostgain.signatures").joinpath("esr.toml").read_text(encoding="utf-8"))
    model = data["model"]
    rows = tuple(
        Row(row["series"], row["farads"], tuple(row["volts"]), tuple(row["ohms"]), row["source"])
        for row in data["row"]
    )  # fmt: skip
    return EsrTable(**{**model, "kinds": tuple(model["kinds"])}, rows=rows)


def expected_esr(farads: float, volts: float | None = None, series: str = "general") -> float:
    """Return the ESR a good electrolytic is expected to have at 100 kHz and 20 °C [ohm], the electrolyte's and all.

    Parameters
    ----------
    farads : float
        Capacitance [F].
    volts : float or None
        Rated voltage [V]; the table's usual one if None.
    series : str
        One of `SERIES`.

    References
    ----------
    Interpolated on logarithms in ``esr.toml``, whose rows name their sources.
    """
    table = esr_table()
    rated = volts or table.no_rating
    rows = sorted((row for row in table.rows if row.series == series), key=lambda row: row.farads)
    at = [log(row.farads) for row in rows]
    ohms = [_along(log(rated), [log(each) for each in row.volts], [log(each) for each in row.ohms]) for row in rows]
    return exp(_along(log(farads), at, ohms))


def _along(x: float, places: list[float], values: list[float]) -> float:
    """Interpolate; beyond the ends go on with the last slope, by no more than a factor of ten in the place."""
    if len(places) == 1:
        return values[0]
    x = min(max(x, places[0] - log(10)), places[-1] + log(10))
    number = int(np.clip(np.searchsorted(places, x), 1, len(places) - 1))
    low, high = places[number - 1], places[number]
    return values[number - 1] + (values[number] - values[number - 1]) * (x - low) / (high - low)


def dielectric_esr(farads: float, frequency: float, tan_delta: float | None = None) -> float:
    """Return what the losses of the dielectric add to the ESR [ohm]: ``tan δ / (2π f C)``.

    Parameters
    ----------
    farads, frequency : float
        [F], [Hz]
    tan_delta : float or None
        The dissipation factor; the table's if None.

    References
    ----------
    The definition of the dissipation factor of a series equivalent, as IEC 60384-4 measures it at 100 or 120 Hz: 10 µF
    with 0.10 has 13.3 ohm at 120 Hz and 15.9 ohm at 100 Hz.
    """
    return (esr_table().tan_delta if tan_delta is None else tan_delta) / (2 * pi * frequency * farads)


def electrolyte_ohms(
    farads: float, volts: float | None = None, series: str = "general", known: float | None = None
) -> float:
    """Return the resistance of a good part's electrolyte [ohm]: its ESR at 100 kHz less the dielectric's share.

    Parameters
    ----------
    farads, volts, series
        As for `expected_esr`.
    known : float or None
        ESR of a good one of the same make, where it was read [ohm].
    """
    esr = known if known is not None else expected_esr(farads, volts, series)
    return max(esr - dielectric_esr(farads, AT), 0.1 * esr)


def dried(share: float, power: float | None = None) -> float:
    """Return how many times its good value an electrolyte's resistance is with a share of the capacitance left.

    Parameters
    ----------
    share : float
        Of the nominal capacitance; above one for a larger part, whose ESR is smaller.
    power : float or None
        The table's if None.
    """
    return float(min(share ** -(esr_table().lost_power if power is None else power), DRIEST))
