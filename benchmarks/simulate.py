"""What a simulated unit carries at its test points, found by ngspice in a worker."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.process import process
from lostgain.circuit.flat import FlatCircuit
from lostgain.circuit.model import GENERATOR, Circuit
from lostgain.engine import EngineError, RunFailed, Session
from lostgain.readings import instruments

Values = NDArray[np.float64]

OPTIONS = (
    ".options method=gear reltol=2e-3 abstol=1e-9 vntol=1e-5",
    ".options method=gear reltol=5e-3 abstol=1e-8 vntol=1e-5 chgtol=1e-12",
)
#: Levels below this count as alike [V rms].
QUIET = 0.5e-3
#: Elements whose state is not told by the voltages of their nodes. Inductors begin without current: that is soon over.
WITH_OTHER_STATE = "touypw"
GRID = 200


@dataclass(frozen=True)
class Job:
    """One simulated channel.

    Parameters
    ----------
    lines : tuple of str
        The netlist without title, generator and ``.end``.
    generator : (str, str)
        Its nodes.
    drive : float
        [V rms]
    dc : float
        DC level of the source [V].
    frequencies : tuple of float
        [Hz]
    nodes : tuple of str
        Of the test points.
    cycles : tuple of int
        Cycles followed, until the last two agree; none for small-signal analysis alone.
    agree_db : float
    steps : int
        A cycle.
    seconds : tuple of (float, int)
        Where the first cycles are not what small-signal analysis says: for how long the generator is then left on [s],
        and for how many steps at most, the one after the other until nothing changes any more.
    every : tuple of str
        All nodes, where a transient can go on from their voltages; else none.
    loads : tuple of (float, float)
        Resistance [ohm] and capacitance [F] of what levels are read with, and of what DC is; none for nothing that
        loads a point.
    """

    lines: tuple[str, ...]
    generator: tuple[str, ...]
    drive: float
    dc: float
    frequencies: tuple[float, ...]
    nodes: tuple[str, ...]
    cycles: tuple[int, ...]
    agree_db: float
    steps: int
    seconds: tuple[tuple[float, int], ...] = ()
    every: tuple[str, ...] = ()
    loads: tuple[tuple[float, float], ...] = ()


@dataclass
class Carried:
    """What the test points carry.

    Parameters
    ----------
    dc : array, (point,) [V]
        With the generator off.
    small : array, (point, frequency) [V rms]
        By small-signal analysis.
    level : array, (point, frequency) [V rms]
        By transient; NaN where none was asked for or none ended.
    swing : array, (point, frequency) [V peak to peak]
    settled : array of bool, (frequency,)
    status : str
        ``ok``, or what failed.
    waited : float
        For how long the generator was left on, at the frequency where that was longest [s].
    """

    dc: Values
    small: Values
    level: Values
    swing: Values
    settled: NDArray[np.bool_]
    status: str = "ok"
    waited: float = 0.0

    def rounded(self) -> Carried:
        """Return the same to the seven digits that are stored, so that a stored unit gives the very same figures."""
        names = ("dc", "small", "level", "swing")
        return replace(self, **{name: getattr(self, name).astype(np.float32).astype(float) for name in names})

    def confirmed(self, within_db: float, floor: float) -> bool:
        """Say whether the transient gave what small-signal analysis gives, in level and in swing.

        Near an instrument's `floor` [V rms] a tenth of that is let pass: its noise is more.
        """
        return bool(self.as_small(within_db, floor).all())

    def as_small(self, within_db: float, floor: float) -> NDArray[np.bool_]:
        """Say the same of each frequency: array, (frequency,)."""
        allowed = self.small * (10 ** (within_db / 20) - 1) + floor / 10
        near = [np.abs(form - self.small) <= allowed for form in (self.level, self.swing / 8**0.5)]
        return np.asarray((near[0] & near[1]).all(axis=0))


def job(circuit: Circuit, flat: FlatCircuit, generator: float, simulation: dict[str, object], in_time: bool) -> Job:
    """Return what a worker needs.

    Parameters
    ----------
    circuit : Circuit
    flat : FlatCircuit
        As built and broken.
    generator : float
        Level of the generator as a factor of the set-up's.
    simulation : mapping
        ``[simulation]`` of the process.
    in_time : bool
        False for small-signal analysis alone.
    """
    setup, known, dc = circuit.unit.setup, instruments(circuit.unit.folder), process()["reading"]["dc"]
    lines = [element.line() for name, element in flat.elements.items() if name != GENERATOR]
    lines += [f".model {name} {text}" for name, text in flat.models.items()] + list(flat.other)
    slow = any(
        name[0] == "c" and element.has_value and element.value >= float(simulation["slow_farad"])  # type: ignore[arg-type]
        for name, element in flat.elements.items()
    )
    cycles = tuple(simulation["cycles"]) if in_time else ()  # type: ignore[arg-type]
    return Job(
        tuple(lines), circuit.flat.elements[GENERATOR].nodes, setup.generator * generator, setup.start_dc,
        tuple(setup.frequencies), tuple(circuit.points.values()), cycles,
        float(simulation["agree_db"]), int(simulation["steps"]),  # type: ignore[call-overload, arg-type]
        tuple((seconds, steps) for seconds, steps in simulation["seconds"]) if in_time and slow else (),  # type: ignore[attr-defined]
        () if any(name[0] in WITH_OTHER_STATE for name in flat.elements) else tuple(flat.nodes()),
        tuple((known[name].resistance, known[name].capacitance) for name in (setup.instrument, dc)),
    )  # fmt: skip


def nothing(task: Job, status: str = "ok") -> Carried:
    """Return a result without numbers."""
    size = len(task.nodes), len(task.frequencies)
    small, level, swing = (np.full(size, np.nan) for _ in range(3))
    return Carried(np.full(size[0], np.nan), small, level, swing, np.zeros(size[1], dtype=bool), status)


def carry(session: Session, task: Job) -> Carried:
    """Find what the test points carry. What ngspice cannot follow stays NaN, with its reason."""
    found = nothing(task)
    try:
        session.load(netlist(task, task.frequencies[0], ()))
        found.dc = np.asarray(session.op(task.nodes))
        found.small = np.abs(session.ac(task.frequencies, task.nodes))
    except EngineError as error:
        if session.dead:
            raise
        found.status = f"no operating point: {error.reason}"
        return found
    for column, frequency in enumerate(task.frequencies if task.cycles else ()):
        try:
            cycle, found.settled[column] = _follow(session, task, frequency)
        except EngineError as error:
            if session.dead:
                raise
            found.status = f"no transient at {frequency:g} Hz: {error.reason}"
            continue
        found.level[:, column] = np.std(cycle, axis=1)
        found.swing[:, column] = np.ptp(cycle, axis=1)
    return found


def netlist(task: Job, frequency: float, options: tuple[str, ...]) -> list[str]:
    """Return the netlist with the generator at a frequency [Hz], and options."""
    sine = f"{task.dc:.9g} ac {task.drive:.9g} sin({task.dc:.9g} {task.drive * 2**0.5:.9g} {frequency:.9g})"
    return ["* simulated repair", *task.lines, f"{GENERATOR} {' '.join(task.generator)} {sine}", *options, ".end"]


def _follow(session: Session, task: Job, frequency: float) -> tuple[Values, bool]:
    """Follow the circuit until two successive cycles agree: one cycle, (point, phase), and whether they did."""
    period = 1 / frequency
    cycle, settled = np.zeros((len(task.nodes), GRID)), False
    for count in task.cycles:
        for options in OPTIONS:
            try:
                session.load(netlist(task, frequency, (options,)))
                time, values = session.tran(count * period, period / task.steps, task.nodes, (count - 2.1) * period)
                break
            except RunFailed:
                if session.dead or options is OPTIONS[-1]:
                    raise
        grid = (count - 2) * period + period * np.arange(2 * GRID + 1) / GRID
        even = np.array([np.interp(grid, time, row) for row in values]).reshape(len(task.nodes), -1)
        before, cycle = (without_drift(even[:, start : start + GRID + 1]) for start in (0, GRID))
        settled = apart(before, cycle) < task.agree_db
        if settled:
            break
    return cycle, settled


def without_drift(cycle: Values) -> Values:
    """Take a slow drift out of a cycle, and its mean."""
    cycle = cycle - (cycle[:, -1:] - cycle[:, :1]) * np.linspace(0, 1, cycle.shape[1])
    return np.asarray(cycle[:, :-1] - cycle[:, :-1].mean(axis=1, keepdims=True))


def apart(before: Values, cycle: Values) -> float:
    """Return how far two cycles are apart, in level and in swing [dB]."""
    off = [20 * np.log10(np.maximum(of(cycle), QUIET) / np.maximum(of(before), QUIET)) for of in (_rms, _swing)]
    return float(np.max(np.abs(off)))


def _rms(cycle: Values) -> Values:
    return np.asarray(np.std(cycle, axis=1))


def _swing(cycle: Values) -> Values:
    return np.asarray(np.ptp(cycle, axis=1) / 8**0.5)
