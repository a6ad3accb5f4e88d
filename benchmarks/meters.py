"""Instruments on the simulated bench: from what a point carries to what a technician writes down."""

from __future__ import annotations

import numpy as np

from benchmarks.process import normal, process
from benchmarks.simulate import Carried
from lostgain.circuit import Circuit
from lostgain.readings import Reading, instruments
from lostgain.readings.model import Instrument

PP_PER_RMS = 8**0.5


class Meter:
    """One instrument, with the errors all its readings share drawn once.

    Parameters
    ----------
    facts : Instrument
    rng : Generator
    """

    def __init__(self, facts: Instrument, rng: np.random.Generator) -> None:
        self.facts, self.rng = facts, rng
        self.scale = 1 + facts.scale_error * normal(rng)
        self.zero = facts.zero_error * normal(rng)

    def _shown(self, volts: float, floor: float) -> float:
        noise = process()["reading"]["floor_share"] * floor * normal(self.rng)
        return float(volts * self.scale * (1 + self.facts.read_error * normal(self.rng)) + noise)

    def level(self, point: str, channel: str, frequency: float, rms: float, swing: float) -> Reading:
        """Read a level: its rms value, or from top to bottom on an oscilloscope."""
        form = "pp" if self.facts.responds == "pp" else "rms"
        value = abs(self._shown(swing / PP_PER_RMS if form == "pp" else rms, self.facts.floor_level))
        if value < self.facts.floor_level:
            return Reading(point, "level", channel, None, "nothing", form, frequency, self.facts.name)
        return Reading(point, "level", channel, value, "", form, frequency, self.facts.name)

    def dc(self, point: str, channel: str, volts: float) -> Reading:
        """Read DC."""
        value = self._shown(volts, self.facts.floor_dc) + self.zero
        return Reading(point, "dc", channel, value, instrument=self.facts.name)


def first_sheet(circuit: Circuit, carried: Carried, channel: str, meters: dict[str, Meter]) -> list[Reading]:
    """Return the first sheet of readings of one channel: level at every frequency and DC, at every reachable point.

    What could not be simulated is not read.
    """
    setup = circuit.unit.setup
    by_level, by_dc = meters[setup.instrument], meters[process()["reading"]["dc"]]
    reach = {point.name: point.reach for point in circuit.unit.points}
    found = []
    for row, point in enumerate(circuit.points):
        if not reach[point]:
            continue
        for column, frequency in enumerate(setup.frequencies):
            rms, swing = (float(of[row, column]) for of in (carried.level, carried.swing))
            if np.isfinite(rms):
                found.append(by_level.level(point, channel, frequency, rms, swing))
        if np.isfinite(carried.dc[row]):
            found.append(by_dc.dc(point, channel, float(carried.dc[row])))
    return found


def on_bench(circuit: Circuit, rng: np.random.Generator) -> dict[str, Meter]:
    """Draw the instruments of one bench."""
    known = instruments(circuit.unit.folder)
    wanted = sorted({circuit.unit.setup.instrument, process()["reading"]["dc"]})
    return {name: Meter(known[name], rng) for name in wanted}
