"""What ngspice makes of one reading of a drill: run in a worker, with the probe hung on the place that is read."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, Element, FlatCircuit
from lostgain.circuit.model import GENERATOR, driven
from lostgain.engine import EngineError, Session
from lostgain.faults import Fault
from lostgain.signatures.gains import NOTHING
from lostgain.signatures.probes import rail_ends
from lostgain.signatures.ripple import powered
from lostgain.signatures.steady import steady

Values = NDArray[np.float64]

#: A probe's least capacitance [F]: none at all is no element.
LEAST_FARADS = 1e-15


@dataclass(frozen=True)
class Look:
    """A reading to be simulated.

    Parameters
    ----------
    flat : FlatCircuit
        The channel as it stands on the bench, faults and all.
    nodes : (str, str)
        Where the two leads are.
    ohms, farads : float
        The probe.
    drive : float
        Of the generator [V rms]; 0 for DC.
    frequency, dc : float
        Of the generator [Hz], and the DC level of its source [V].
    """

    flat: FlatCircuit
    nodes: tuple[str, str]
    ohms: float
    farads: float
    drive: float
    frequency: float
    dc: float


@dataclass(frozen=True)
class Seen:
    """What is there between two leads.

    Parameters
    ----------
    dc : float
        With the generator off [V].
    rms, swing, average : float
        Of the signal without DC [V rms], [V peak to peak], and mean of its size [V].
    wave : array, (phase,) [V]
        One cycle without DC.
    settled : bool
    left : float
        Share of the signal, or of the DC, that is left when the probe touches the place.
    noise : array, (phase,) [V]
        What an oscilloscope's trace has of its own, over all cycles that are shown; none before it is on a screen.
    floor : float
        What that oscilloscope tells from nothing [V rms].
    """

    dc: float
    rms: float
    swing: float
    average: float
    wave: Values
    settled: bool
    left: float
    noise: Values = field(default_factory=lambda: np.zeros(0))
    floor: float = 0.0

    @property
    def nothing(self) -> bool:
        """Whether there is less than the oscilloscope tells from nothing."""
        return self.rms < max(self.floor, NOTHING)


def look(session: Session, task: Look) -> Seen:
    """Run one reading."""
    one, other = task.nodes
    probed = task.flat.with_elements(
        Element("rdrill_probe", (one, other), f"{task.ohms:.12g}"),
        Element("cdrill_probe", (one, other), f"{max(task.farads, LEAST_FARADS):.12g}"),
    )
    free, loaded = _small(session, task.flat, task), _small(session, probed, task)
    index = 1 if task.drive else 0
    left = abs(loaded[index]) / abs(free[index]) if abs(free[index]) > 1e-3 else 1.0
    if not task.drive:
        return Seen(float(loaded[0].real), 0.0, 0.0, 0.0, np.zeros(0), True, left)
    nodes = [each for each in task.nodes if each != "0"]
    found = steady(session, probed, task.drive, task.frequency, task.dc, nodes)
    wave = np.asarray(found.wave[0], dtype=float)
    rms, swing = float(found.level[0]), float(found.swing[0])
    if one == "0" or len(nodes) == 2:
        wave = -wave if one == "0" else wave - found.wave[1]
        rms, swing = float(np.sqrt(np.mean(wave**2))), float(np.ptp(wave))
    return Seen(float(loaded[0].real), rms, swing, float(np.mean(np.abs(wave))), wave, found.settled, left)


def _small(session: Session, flat: FlatCircuit, task: Look) -> tuple[complex, complex]:
    """DC, and the phasor of the signal by small-signal analysis, between the leads [V], [V rms]."""
    nodes = [each for each in dict.fromkeys(task.nodes) if each != "0"]
    session.load(driven(flat, task.drive or 1e-3, task.frequency, task.dc).lines())
    dc = dict(zip(nodes, session.op(nodes), strict=True))
    ac = dict(zip(nodes, session.ac([task.frequency], nodes)[:, 0], strict=True)) if task.drive else {}
    one, other = task.nodes
    return complex(dc.get(one, 0.0) - dc.get(other, 0.0)), complex(ac.get(one, 0.0) - ac.get(other, 0.0))


@dataclass(frozen=True)
class Supply:
    """A channel whose supply is to be followed on the mains.

    Parameters
    ----------
    circuit : Circuit
        Healthy, as built.
    flat : FlatCircuit
        With its faults.
    faults : tuple of Fault
    """

    circuit: Circuit
    flat: FlatCircuit
    faults: tuple[Fault, ...]


def supplied(session: Session, task: Supply) -> tuple[FlatCircuit, Values]:
    """Return the channel with its reservoirs held where the mains leaves them, and the ripple at each test point."""
    flat, ripple, _ = powered(session, task.flat, task.circuit, task.faults, None, False)
    return flat, ripple


def rail_current(session: Session, task: tuple[Circuit, FlatCircuit, str]) -> float:
    """Return what a rail delivers into one channel with the generator off [A]."""
    circuit, flat, name = task
    rail = next(each for each in circuit.unit.rails if each.name == name)
    quiet = flat.elements[GENERATOR]
    session.load(flat.with_elements(replace(quiet, rest=f"{circuit.unit.setup.start_dc:.12g}")).lines())
    first, second = session.op(list(rail_ends(flat, rail)))
    return abs(float(first - second)) / max(rail.resistance, 1e-3)


def tried(session: Session, task: Look) -> Seen | str:
    """Run one reading, and return why it gave none."""
    try:
        return look(session, task)
    except EngineError as error:
        if session.dead:
            raise
        return error.reason
