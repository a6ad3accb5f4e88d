"""A transient followed in pieces, each started where the one before ended or led to."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import FlatCircuit
from lostgain.engine import EngineError, RunFailed, Session
from lostgain.signatures.cycle import EDGE, FINE, QUIET, REPEATS, at_times, decibels, one_cycle, rms, swing, two_cycles
from lostgain.signatures.states import Cycle, Linear, Slopes, Steady, started, states

Values = NDArray[np.float64]

#: A cycle's level must agree within this [dB] with that of small-signal analysis to confirm it …
AGREE_DB = 0.1
#: … and successive cycles' within this, to be settled.
SETTLED_DB = 0.02
#: Cycles followed at a time: from a state close to the steady one, from the operating point or one that is
#: extrapolated, and at the end, when no extrapolation has led anywhere.
NEAR, FAR, LAST = 2, 3, 9
#: So often at the end, where the cycles still change.
LAST_TIMES = 2
#: What a start from a state stirs up by itself is left out: this share of a cycle.
WAIT = 0.25
#: A draw's first two cycles are further apart than this [dB] where something rings; it is then followed for so many,
#: and for the second number of them where that is not enough.
RINGS_DB, RINGING = 0.02, (6, 18)
#: How often the steady state is extrapolated, from how many states before, how far at most in the last cycle's changes
#: and in volts, and how far it may be off once it is found [V].
TIMES, MEMORY, FURTHEST, MOST_VOLTS, LEFT_VOLTS = 5, 3, 400.0, 5.0, 20e-3
#: What a start from phasors is put off by [V], so that a circuit that oscillates by itself begins to.
KICK = 1e-3
#: Points of one stored cycle, and the longest time step as a share of a cycle.
WAVE_POINTS = 64
STEPS_A_CYCLE = 64
#: Steps a cycle at most, and from how many on a circuit that does not settle is taken to oscillate by itself, far above
#: the generator's frequency: then there is nothing to wait for.
MOST_STEPS, RESTLESS = 1024, 300
#: How ngspice integrates: Gear's method and a ten-thousandth of a signal, since trapezoidal steps shrink without end on
#: a saturated amplifier. The second is for what the first gives up on.
SOLVER = ".options method=gear abstol=1e-9 vntol=1e-5"
PATIENT = ".options method=gear reltol=5e-3 abstol=1e-9 vntol=1e-5 chgtol=1e-12"
#: A node carries no more than the largest rail, by this factor: where a phasor is larger, it clips.
HEADROOM = 1.1
#: Elements whose state is neither their nodes' voltages nor an inductor's current: no transient can start from it.
_WITH_OTHER_STATE = "touypw"
#: Capacitors that may be slow, whose voltages are extrapolated and never put off: from this on [F].
SLOW_FARADS = 1.5e-9
#: Slow drifts are looked for in a circuit whose slow capacitors are smaller, so far that each one's voltage changes
#: within a cycle by such a share of the signal about it, or so many volts; no smaller than by `LIGHTEST`, and only
#: where that is at least by `LIGHTER`.
SHARE, SHARE_VOLTS, LIGHTER, LIGHTEST = 0.03, 2e-3, 2.0, 300.0

#: All that a transient's numbers depend on besides the circuit: a table with others is another table.
SETTINGS = (
    AGREE_DB, SETTLED_DB, QUIET, NEAR, FAR, LAST, LAST_TIMES, WAIT, RINGS_DB, *RINGING, TIMES, MEMORY, FURTHEST,
    MOST_VOLTS, LEFT_VOLTS, KICK, EDGE, REPEATS, WAVE_POINTS, STEPS_A_CYCLE, MOST_STEPS, RESTLESS, SOLVER, PATIENT,
    SLOW_FARADS, SHARE, SHARE_VOLTS, LIGHTER, LIGHTEST, HEADROOM,
)  # fmt: skip


class Follow:
    """A transient in pieces, each started where the one before ended or led to.

    Parameters
    ----------
    session : Session
    flat : FlatCircuit
        With the generator on.
    period : float
        Of the generator [s].
    nodes : sequence of str
        What is looked at.
    lighter : array or None, (slow capacitor,)
        By how much each slow capacitor is smaller than the circuit's.

    Attributes
    ----------
    farads : array, (slow capacitor,) [F]
        Of the circuit itself.
    times : array, (slow capacitor,)
        `lighter`.
    """

    def __init__(
        self, session: Session, flat: FlatCircuit, period: float, nodes: Sequence[str], lighter: Values | None = None
    ) -> None:
        self.session = session
        self.given = flat
        self.period = period
        self.nodes = list(nodes)
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
        self.farads = np.array([each for _, _, each in self._slow.values()])
        self.times = np.ones(len(self.farads)) if lighter is None else lighter
        smaller = self.farads / self.times
        self._weight = np.sqrt(smaller)
        self.flat = flat if lighter is None else flat.with_values(dict(zip(self._slow, smaller, strict=True)))
        self._at: list[Values] = []
        self._steps: list[Values] = []
        self._near = False
        self._states: Values
        self._before: Values
        self._last: Values
        self._swing: Values

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
        ends = self.period * np.arange(cycles + 1.0)
        self._states = at_times(ends, time, values).T
        # The first cycle after a start is left out: there all that is fast settles.
        self._near = False
        for before, after in pairwise(self.charged(each) for each in self._states[1:]):
            self._at.append(before)
            self._steps.append(after - before)
        late = values[:, time >= (cycles - 1) * self.period]
        self._swing = np.append(np.ptp(late, axis=1), 0.0)
        self._ripple = np.array([np.ptp(each) for each in self._across(late)])
        here = values[self.at]
        self._before, self._last = two_cycles(time, here, (cycles - 2) * self.period, self.period)

    def _across(self, values: Values) -> list[Values]:
        """Return what is across each slow capacitor of what is at every node: arrays, like one node's."""
        there = np.append(values, np.zeros((1, *values.shape[1:])), axis=0)  # the last is ground
        return [there[-1 if a is None else a] - there[-1 if b is None else b] for a, b, _ in self._slow.values()]

    def charged(self, state: Values) -> Values:
        """Return the voltages of the slow capacitors."""
        return np.array(self._across(state))

    def ended(self) -> tuple[Values, Values]:
        """Return where the cycles led to: the last state, and the voltages of the slow capacitors."""
        return self._states[-1], self._at[-1] + self._steps[-1] + self._further()

    def again(self, state: Values, slow: Values) -> None:
        """Start anew from a state, all before forgotten."""
        self._at, self._steps = [], []
        try:
            self.run(FAR, state, slow)
        except RunFailed:
            if self.session.dead:
                raise
            self._solver = PATIENT
            self.run(FAR)

    def one(self, state: Values, slow: Values) -> Cycle:
        """Follow what the start itself stirs up (`WAIT`), and one cycle after it."""
        time, values = self._tran(1 + WAIT, state, slow)
        early, whole, late = at_times(self.period * np.array([WAIT, 1, 1 + WAIT]), time, values).T
        within = time > WAIT * self.period
        time = np.append(WAIT * self.period, time[within])
        values = np.column_stack([early, values[:, within]])
        begun = self.charged(early)
        means = [np.trapezoid(each, time) / (time[-1] - time[0]) for each in self._across(values)]
        self.cycles += 1
        return Cycle(
            self.farads / self.times * (self.charged(late) - begun) / self.period,
            begun,
            np.array(means),
            whole,
            rms(one_cycle(time, values[self.at], WAIT * self.period, self.period)),
        )

    def lighter(self) -> Follow | None:
        """Return the same circuit with smaller slow capacitors, or None where none can be much smaller."""
        allowed = [max(SHARE_VOLTS, SHARE * self._swing[list(about)].max(initial=0.0)) for about in self._about()]
        lighter = np.clip(np.array(allowed) / np.maximum(self._ripple, 1e-9), 1.0, LIGHTEST)
        if not len(lighter) or lighter.max() < LIGHTER:
            return None
        found = Follow(self.session, self.given, self.period, self.nodes, lighter)
        found._solver = self._solver
        return found

    def _about(self) -> list[set[int]]:
        """Return the nodes about each slow capacitor: its own, and those a resistor away. Ground is the last."""
        ground = len(self.every)
        place = {node: number for number, node in enumerate(self.every)}
        resistors = [
            {place.get(node, ground) for node in each.nodes[:2]}
            for name, each in self.flat.elements.items() if name[0] == "r"
        ]  # fmt: skip
        found = []
        for a, b, _ in self._slow.values():
            own = {each for each in (a, b) if each is not None}
            found.append(own.union(*(each for each in resistors if each & own)))
        return found

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
        held = self._holding()  # by threes, so that no pair of nodes is put off alike throughout
        signs = np.zeros(len(state))
        signs[held] = np.where(np.arange(len(held)) % 3, kick, -kick)
        self.run(NEAR, state + signs, self.charged(state))
        self._near = True

    def _holding(self) -> list[int]:
        """Return the nodes that a capacitor holds: to put others off does nothing."""
        about = {node for name, each in self.flat.elements.items() if name[0] == "c" for node in each.nodes[:2]}
        return [number for number, name in enumerate(self.every) if name in about]

    def last_of(self, cycles: int, state: Values) -> Steady:
        """Follow some cycles from a state near the steady one, after what the start itself stirs up has died away.

        Returns
        -------
        Steady
            The last one; settled if it is as the one before, or there is none.
        """
        late = (cycles - 1 + WAIT) * self.period
        time, values = self._tran(cycles + WAIT, state, self.charged(state), [self.every[at] for at in self.at])
        cycle = one_cycle(time, values, late, self.period)
        settled = cycles == 1 or _apart(one_cycle(time, values, late - self.period, self.period), cycle) < RINGS_DB
        return _ended(cycle, settled, cycles, state)

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

    def level(self) -> Values:
        """Return the level of the last cycle at the points: array [V rms]."""
        return rms(self._last)

    def change(self) -> float:
        """How far the last two cycles are apart at the points [dB]."""
        return _apart(self._before, self._last)

    def like(self, linear: Linear) -> bool:
        """Tell whether the last cycle is what small-signal analysis says."""
        wanted = np.abs(linear.phasor[self.at])
        return bool(np.all(np.abs(decibels(rms(self._last), wanted)) < AGREE_DB))

    def found(self, settled: bool, drifted: bool = False, slopes: Slopes | None = None) -> Steady:
        """Return the last cycle."""
        last = self._last
        thinned = last[:, :: FINE // WAVE_POINTS]
        return Steady(rms(last), swing(last), thinned, settled, self.cycles, self._states[-1], drifted, slopes)


def _apart(before: Values, last: Values) -> float:
    """How far two cycles are apart, in level or in swing, at any node [dB]."""
    apart = decibels(rms(last), rms(before)), decibels(swing(last) / 8**0.5, swing(before) / 8**0.5)
    return float(np.abs(apart).max(initial=0.0))


def soon(session: Session, period: float, nodes: Sequence[str]) -> Steady:
    """Follow the circuit that is loaded from its operating point: one cycle after what the start itself stirs up."""
    cycles = 1 + WAIT
    time, values = session.tran(cycles * period, period / STEPS_A_CYCLE, nodes, most_points=round(cycles * MOST_STEPS))
    return _ended(one_cycle(time, values, WAIT * period, period), True, 1, np.zeros(0))


def _ended(late: Values, settled: bool, cycles: int, state: Values) -> Steady:
    """Return what a cycle that begins late by `WAIT` says."""
    cycle = np.roll(late, round(WAIT * FINE), axis=1)
    return Steady(rms(cycle), swing(cycle), cycle[:, :: FINE // WAVE_POINTS], settled, cycles, state)
