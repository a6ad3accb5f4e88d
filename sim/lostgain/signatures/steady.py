"""Levels at drive: a transient, started close to the steady state and followed until successive cycles agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, RunFailed, Session
from lostgain.engine.session import BRANCH

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: A cycle's level must agree within this [dB] with that of small-signal analysis to confirm it …
AGREE_DB = 0.1
#: … and successive cycles' within this, to be settled, wherever there is at least this much signal [V rms].
SETTLED_DB = 0.02
QUIET = 0.5e-3
#: Cycles followed at a time: from a state close to the steady one, from the operating point or one that is
#: extrapolated, and at the end, when no extrapolation has led anywhere.
NEAR, FAR, LAST = 2, 3, 9
#: What a start from a state stirs up by itself is left out: this share of a cycle.
WAIT = 0.25
#: How often the steady state is extrapolated, from how many states before, how far at most in the last cycle's changes
#: and in volts, and how far it may be off once it is found [V].
TIMES, MEMORY, FURTHEST, MOST_VOLTS, LEFT_VOLTS = 5, 3, 400.0, 5.0, 20e-3
#: What a start from phasors is put off by [V], so that a circuit that oscillates by itself begins to.
KICK = 1e-3
#: An edge is where the ends of a cycle are this share of its swing further apart than its other phases have moved.
#: Only where a cycle is like the one before, their difference this share of it at most, is it looked for.
EDGE, REPEATS = 0.003, 0.5
#: Points of one stored cycle, and the longest time step as a share of a cycle.
WAVE_POINTS = 64
STEPS_A_CYCLE = 64
_FINE = 256
#: Steps a cycle at most, and from how many on a circuit that does not settle is taken to oscillate by itself, far above
#: the generator's frequency: then there is nothing to wait for.
MOST_STEPS, RESTLESS = 1024, 300
#: How ngspice integrates: Gear's method and a ten-thousandth of a signal, since trapezoidal steps shrink without end on
#: a saturated amplifier. The second is for what the first gives up on.
SOLVER = ".options method=gear abstol=1e-9 vntol=1e-5"
PATIENT = ".options method=gear reltol=5e-3 abstol=1e-9 vntol=1e-5 chgtol=1e-12"
#: Elements whose state is neither their nodes' voltages nor an inductor's current: no transient can start from it.
_WITH_OTHER_STATE = "touypw"
#: Capacitors that may be slow, whose voltages are extrapolated and never put off: from this on [F].
SLOW_FARADS = 1.5e-9

#: All that a transient's numbers depend on besides the circuit: a table with others is another table.
SETTINGS = (
    AGREE_DB, SETTLED_DB, QUIET, NEAR, FAR, LAST, WAIT, TIMES, MEMORY, FURTHEST, MOST_VOLTS, LEFT_VOLTS, KICK,
    EDGE, REPEATS, WAVE_POINTS, STEPS_A_CYCLE, MOST_STEPS, RESTLESS, SOLVER, PATIENT, SLOW_FARADS,
)  # fmt: skip


@dataclass(frozen=True)
class Steady:
    """What the generator's sine looks like once it has settled.

    Parameters
    ----------
    level : array, (node,) [V rms]
        Without DC.
    swing : array, (node,) [V peak to peak]
    wave : array, (node, phase) [V]
        One cycle, without DC, starting where the generator crosses zero upwards.
    settled : bool
    cycles : int
        How many it took.
    state : array, (number of `states`,) [V, A]
        Where the generator crosses zero upwards: where a transient of a circuit much like this one can start.
    """

    level: Values
    swing: Values
    wave: Values
    settled: bool
    cycles: int
    state: Values


@dataclass(frozen=True)
class Linear:
    """What `op` and `ac` say of all `states` of a circuit.

    Parameters
    ----------
    dc : array, (number of `states`,) [V, A]
    phasor : complex array, (number of `states`,) [V rms, A rms]
        At the frequency and drive that the transient will have.
    limit : float
        No voltage can be larger than this [V]: that of the rails. Where a phasor is, it says nothing.
    """

    dc: Values
    phasor: Complex
    limit: float

    def state(self) -> Values | None:
        """Return the state where the generator crosses zero upwards, or None where something clips."""
        size = 2**0.5 * np.abs(self.phasor)
        if not np.isfinite(size).all() or (np.abs(self.dc) + size).max() > self.limit:
            return None
        return np.asarray(self.dc + 2**0.5 * self.phasor.imag)


def states(flat: FlatCircuit) -> list[str]:
    """Return what a circuit's state is told by, as `Session` names it: every node, and every inductor's current."""
    return [*flat.nodes(), *(f"{name}{BRANCH}" for name in flat.elements if name[0] == "l")]


def steady(
    session: Session,
    flat: FlatCircuit,
    drive: float,
    frequency: float,
    dc: float,
    nodes: Sequence[str],
    start: Linear | Values | None = None,
    most: int = 0,
) -> Steady:
    """Follow a circuit with the generator on until it has settled.

    Parameters
    ----------
    session : Session
    flat : FlatCircuit
    drive : float
        [V rms]
    frequency : float
        [Hz]
    dc : float
        DC level of the source [V].
    nodes : sequence of str
    start : Linear, array or None
        What small-signal analysis says, or a `Steady.state`, to start close to the steady state; None for the operating
        point.
    most : int
        Cycles after which it is enough, settled or not; 0 for as many as it takes.

    Raises
    ------
    RunFailed
        If ngspice gives up on the transient.

    Notes
    -----
    A linear circuit that starts from its phasors is settled from the first cycle on. Others approach the steady state
    by a factor a cycle, the time constant of a slow capacitor. Where the slow capacitors' voltages at the cycles' ends
    lead to is extrapolated [1]_, from the last few of them by least squares [2]_, and the transient starts there anew.

    References
    ----------
    .. [1] Skelboe, "Computation of the periodic steady-state response of nonlinear networks by extrapolation methods",
       IEEE Trans. Circuits and Systems CAS-27 (1980) 161-175.
    .. [2] Anderson, "Iterative procedures for nonlinear integral equations", J. ACM 12 (1965) 547-560.
    """
    follow = _Follow(session, driven(flat, drive, frequency, dc), 1 / frequency, nodes)
    state = start.state() if isinstance(start, Linear) else start
    if state is not None and follow.can_start:
        try:
            follow.near(state, KICK if isinstance(start, Linear) else 0.0)
            if isinstance(start, Linear) and follow.like(start):
                return follow.found(True)
        except RunFailed:
            if session.dead:
                raise
            follow.run(FAR)
    else:
        follow.run(FAR)
    for _ in range(TIMES):
        if follow.settled() or follow.restless or not follow.can_start or 0 < most <= follow.cycles:
            break
        follow.on(FAR)
    if follow.change() >= SETTLED_DB and not (follow.restless or most):
        follow.to_the_end()
    return follow.found(follow.change() < AGREE_DB)


def nearby(
    session: Session,
    flat: FlatCircuit,
    drive: float,
    frequency: float,
    dc: float,
    nodes: Sequence[str],
    state: Values,
) -> Steady:
    """Follow a circuit for one cycle from a state so close to the steady one that no more is needed.

    Parameters
    ----------
    session, flat, drive, frequency, dc, nodes
        See `steady`.
    state : array, (number of `states`,) [V, A]
        `Steady.state` of a circuit much like this one, about this one's operating point.

    Raises
    ------
    RunFailed
        If ngspice gives up on the transient.
    """
    follow = _Follow(session, driven(flat, drive, frequency, dc), 1 / frequency, nodes)
    if follow.can_start:
        return follow.one_cycle(state)
    follow.run(FAR)
    return follow.found(follow.change() < AGREE_DB)


class _Follow:
    """A transient in pieces, each started where the one before ended or led to."""

    def __init__(self, session: Session, flat: FlatCircuit, period: float, nodes: Sequence[str]) -> None:
        self.session = session
        self.flat = flat
        self.period = period
        self.every = states(flat)
        place = {node: number for number, node in enumerate(self.every)}
        self.at = [place[node] for node in nodes]
        self.can_start = not any(name[0] in _WITH_OTHER_STATE for name in flat.elements)
        self.cycles = 0
        self.restless = False
        self._solver = SOLVER
        self._slow = {
            name: (place.get(each.nodes[0]), place.get(each.nodes[1]), each.value)
            for name, each in flat.elements.items()
            if name[0] == "c" and each.has_value and each.value >= SLOW_FARADS
        }
        self._weight = np.sqrt([farads for _, _, farads in self._slow.values()])
        self._at: list[Values] = []
        self._steps: list[Values] = []
        self._near = False
        self._states: Values
        self._before: Values
        self._last: Values

    def run(self, cycles: int, state: Values | None = None, slow: Values | None = None) -> None:
        """Follow some cycles, from a state or from the operating point; slow capacitors from voltages of their own."""
        try:
            time, values = self._tran(cycles, state, slow)
        except RunFailed:
            if self.session.dead or self._solver is PATIENT or state is not None:
                raise
            # Where ngspice's steps shrink to nothing, its more patient integration may get through.
            self._solver = PATIENT
            time, values = self._tran(cycles, None, None)
        self.cycles += cycles
        self.restless = len(time) > cycles * RESTLESS
        ends = self.period * np.arange(cycles + 1)
        self._states = np.array([np.interp(ends, time, row) for row in values]).T
        # The first cycle after a start is left out: there all that is fast settles.
        self._near = state is not None and not self._at
        for before, after in pairwise(self._charged(each) for each in self._states[1:]):
            self._at.append(before)
            self._steps.append(after - before)
        here = values[self.at]
        self._before, self._last = _two_cycles(time, here, (cycles - 2) * self.period, self.period)

    def _charged(self, state: Values) -> Values:
        """Return the voltages of the slow capacitors."""
        there = np.append(state, 0.0)  # the last is ground
        return np.array(
            [there[-1 if a is None else a] - there[-1 if b is None else b] for a, b, _ in self._slow.values()]
        )

    def _tran(
        self, cycles: float, state: Values | None, slow: Values | None, wanted: Sequence[str] = ()
    ) -> tuple[Values, Values]:
        charged = {} if slow is None else dict(zip(self._slow, slow, strict=True))
        *lines, end = self.flat.lines() if state is None else started(self.flat, self.every, state, charged)
        self.session.load([*lines, self._solver, end])
        most = round(cycles * MOST_STEPS)
        step = self.period / STEPS_A_CYCLE
        initial = state is not None
        return self.session.tran(
            cycles * self.period, step, wanted or self.every, from_initial=initial, most_points=most
        )

    def near(self, state: Values, kick: float) -> None:
        """Follow some cycles from a state near the steady one, put off a little wherever nothing is slow."""
        signs = np.where(np.arange(len(state)) % 2, kick, -kick) * [BRANCH not in name for name in self.every]
        self.run(NEAR, state + signs, self._charged(state))

    def one_cycle(self, state: Values) -> Steady:
        """Follow one cycle from a state near the steady one, after what the start itself stirs up has died away."""
        late = WAIT * self.period
        time, values = self._tran(1 + WAIT, state, self._charged(state), [self.every[at] for at in self.at])
        cycle = np.roll(_cycle(time, values, late, self.period), round(WAIT * _FINE), axis=1)
        return Steady(_rms(cycle), _swing(cycle), cycle[:, :: _FINE // WAVE_POINTS], True, 1, state)

    def on(self, cycles: int) -> None:
        """Go on from where the cycles lead to; where ngspice cannot start there, from where they ended."""
        ended = self._states[-1]
        try:
            self.run(cycles, ended, self._at[-1] + self._steps[-1] + self._further())
        except RunFailed:
            if self.session.dead:
                raise
            self._solver = PATIENT
            self.run(cycles, ended)

    def settled(self) -> bool:
        """Tell whether successive cycles agree, and no slow drift leads elsewhere."""
        change = self.change()
        if change >= SETTLED_DB or self._near:
            return change < SETTLED_DB
        left = float(np.abs(self._further()).max(initial=0.0))
        step = float(np.abs(self._steps[-1]).max(initial=0.0))
        return left < LEFT_VOLTS or change * left < AGREE_DB * step

    def _further(self) -> Values:
        """How far the slow capacitors' voltages still are from those that would not change, if all were linear [V]."""
        states, steps = (np.array(each[-MEMORY - 1 :]) for each in (self._at, self._steps))
        last, step = states[-1], steps[-1]
        if len(states) == 1 or not len(step):
            return np.zeros(len(step))
        changes = (steps[:-1] - step) * self._weight
        share = np.linalg.lstsq(changes.T, -step * self._weight, rcond=0.03)[0]
        further = share @ (states[:-1] - last + steps[:-1] - step)
        most = min(MOST_VOLTS, FURTHEST * float(np.abs(step).max()))
        return np.asarray(further * min(1.0, most / max(float(np.abs(further).max()), 1e-12)))

    def to_the_end(self) -> None:
        """Follow many cycles without any extrapolation."""
        try:
            self.run(LAST, self._states[-1] if self.can_start else None)
        except EngineError:
            if self.session.dead:
                raise

    def change(self) -> float:
        """How far the last two cycles are apart at the points [dB]."""
        last, before = self._last, self._before
        apart = decibels(_rms(last), _rms(before)), decibels(_swing(last) / 8**0.5, _swing(before) / 8**0.5)
        return float(np.abs(apart).max(initial=0.0))

    def like(self, linear: Linear) -> bool:
        """Tell whether the last cycle is what small-signal analysis says."""
        wanted = np.abs(linear.phasor[self.at])
        return bool(np.all(np.abs(decibels(_rms(self._last), wanted)) < AGREE_DB))

    def found(self, settled: bool) -> Steady:
        """Return the last cycle."""
        last = self._last
        thinned = last[:, :: _FINE // WAVE_POINTS]
        return Steady(_rms(last), _swing(last), thinned, settled, self.cycles, self._states[-1])


def started(flat: FlatCircuit, names: Sequence[str], state: Values, charged: Mapping[str, float]) -> list[str]:
    """Return the netlist of a circuit with the state it starts from in it: of all, and of some capacitors by name."""
    given = {name.removesuffix(BRANCH): value for name, value in zip(names, state, strict=True) if BRANCH in name}
    given.update(charged)
    own = (
        replace(flat.elements[name], rest=f"{flat.elements[name].rest} ic={value:.10g}")
        for name, value in given.items()
    )
    *lines, end = flat.with_elements(*own).lines()
    lines += [f".ic v({name})={value:.10g}" for name, value in zip(names, state, strict=True) if BRANCH not in name]
    return [*lines, end]


def _two_cycles(time: Values, values: Values, start: float, period: float) -> tuple[Values, Values]:
    """Two successive cycles on an even grid, without their means and slow drift: two arrays, (node, phase).

    The ends of a cycle tell its drift, unless the signal switches just there: then the ends are wherever the edge was
    caught, and what most phases have moved from one cycle to the next tells it. What oscillates by itself does not
    repeat from cycle to cycle, and is left as it is.
    """
    halves = _even(time, values, start, period), _even(time, values, start + period, period)
    moved = np.median(halves[1] - halves[0], axis=1, keepdims=True)
    apart = np.std(halves[1] - halves[0], axis=1, keepdims=True)
    repeats = apart < REPEATS * np.std(halves[1], axis=1, keepdims=True)

    def drift(half: Values) -> Values:
        ends = half[:, -1:] - half[:, :1]
        edge = repeats & (np.abs(ends - moved) > EDGE * np.ptp(half, axis=1, keepdims=True))
        return np.where(edge, moved, ends)

    before, last = (_level_ground(half, drift(half)) for half in halves)
    return before, last


def _cycle(time: Values, values: Values, start: float, period: float) -> Values:
    """One cycle on an even grid, without its mean and without a slow drift across it: array, (node, phase)."""
    even = _even(time, values, start, period)
    return _level_ground(even, even[:, -1:] - even[:, :1])


def _even(time: Values, values: Values, start: float, period: float) -> Values:
    grid = start + period * np.arange(_FINE + 1) / _FINE
    return np.array([np.interp(grid, time, row) for row in values]).reshape(len(values), -1)


def _level_ground(even: Values, drift: Values) -> Values:
    even = (even - drift * np.linspace(0, 1, _FINE + 1))[:, :-1]
    return np.asarray(even - even.mean(axis=1, keepdims=True))


def _rms(cycle: Values) -> Values:
    return np.asarray(np.sqrt(np.mean(cycle**2, axis=1)))


def _swing(cycle: Values) -> Values:
    return np.asarray(np.ptp(cycle, axis=1))


def decibels(one: Values, other: Values) -> Values:
    """Return how far two levels are apart, counting all below `QUIET` as alike: array [dB]."""
    return np.asarray(20 * np.log10(np.maximum(one, QUIET) / np.maximum(other, QUIET)))
