"""A unit's supply on the mains: what its rectifiers settle to, and the ripple that is left.

A rectifier has no operating point: its reservoirs live from peak to peak of the mains. Two states of one circuit serve
instead. For DC, levels and impedances the mains is off, and each reservoir is held at its mean voltage by a source
behind a resistance, which stands for how the supply sags. For ripple, and to find those means, the mains is on, the
sources are away, and the circuit is followed until its reservoirs have settled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit.flat import FlatCircuit
from lostgain.circuit.heating import both_ends, currents, ends_of, heatings, power
from lostgain.circuit.model import GENERATOR, rail_node
from lostgain.engine import RunFailed, Session
from lostgain.unit.library import stage as stage_facts
from lostgain.unit.model import Rail, Unit

Values = NDArray[np.float64]

MAINS_NODE, MAINS_SOURCE = "mains_live", "v_mains"
#: Behind the unit's mains fuse, where it has one ahead of all supply stages.
FUSED_NODE = "mains_fused"
#: How far a reservoir sags below its unloaded voltage under the healthy load, as a share of it: what the source that
#: holds it has as resistance. Common practice, no source.
SAG = 0.05
#: Cycles of the mains followed at a time, and how often that is done at most.
CYCLES, ROUNDS = 4, 8
#: From this round on, a reservoir that has lost half of its voltage is begun from nothing.
LEFT = 1
#: … and from this one on, where it only ever fell: with a large bleeder it would take a minute to lose half.
FALLEN = 3
#: A reservoir has settled where its mean moves less than this in a cycle, as a share and [V].
SETTLED, SETTLED_VOLTS = 5e-4, 5e-3
#: … and what lies behind it has where it began this near its mean, since the rest began from there.
BEGUN = 5e-3
STEPS_A_CYCLE = 200
_GRID = 400
_AWAY = 1e12
_SOLVER = ".options method=gear reltol=2e-3 abstol=1e-8 vntol=1e-4 itl4=50"

#: What the numbers of a described supply come from, beside the circuit.
METHOD = (SAG, CYCLES, ROUNDS, LEFT, FALLEN, SETTLED, SETTLED_VOLTS, BEGUN, STEPS_A_CYCLE, _SOLVER)


@dataclass(frozen=True)
class OnMains:
    """What a circuit settles to with the mains on and the generator off.

    Parameters
    ----------
    means : array, (reservoir,) [V]
        In the order of `reservoirs`.
    ripple : array, (node,) [V peak to peak]
        Over one cycle of the mains.
    settled : bool
    heat : array, (heating,) [W]
        The power in the valves' heaters, in the order of `heatings`.
    amps : array, (watched,) [A rms]
        The current through the resistors that were watched.
    """

    means: Values
    ripple: Values
    settled: bool
    heat: Values
    amps: Values


def fed_node(rail: str) -> str:
    """Return the node at which a supply stage delivers a rail, ahead of its fuse."""
    return f"{rail_node(rail)}_fed"


def fed_rail(rail: Rail, fused: str, channels: int) -> list[str]:
    """Return the elements between a supply stage and the rail it delivers.

    Parameters
    ----------
    rail : Rail
    fused : str
        The node ahead of its fuse, or the rail's own.
    channels : int
        One is simulated; the others draw as much as it does.
    """
    node, fed, ohms = rail_node(rail.name), fed_node(rail.name), max(rail.resistance, 1e-3)
    lines = [f"r_{node} {fed} {fused} {ohms:.12g}"]
    if channels > 1:
        lines.append(f"g_{node}_others {fed} 0 {fed} {fused} {(channels - 1) / ohms:.12g}")
    return lines


def hold_lines(rail: Rail) -> list[str]:
    """Return the source that holds a reservoir while the mains is off."""
    fed = fed_node(rail.name)
    source, resistor = _hold(rail.name)
    return [f"{source} {fed}_hold 0 {rail.volts:.12g}", f"{resistor} {fed}_hold {fed} 1"]


def _hold(rail: str) -> tuple[str, str]:
    node = rail_node(rail)
    return f"v_{node}_hold", f"r_{node}_hold"


def reservoirs(unit: Unit) -> tuple[Rail, ...]:
    """Return the rails whose reservoirs are charged from the mains."""
    ports = [(stage, port) for stage in unit.supplies for port in stage_facts(stage.library).rectifies]
    by_name = {rail.name: rail for rail in unit.rails}
    return tuple(by_name[stage.rails[port]] for stage, port in ports)


def holding(unit: Unit) -> tuple[tuple[str, Rail], ...]:
    """Return the sources that hold the reservoirs, each with its rail."""
    return tuple((_hold(rail.name)[0], rail) for rail in reservoirs(unit))


def held(session: Session, flat: FlatCircuit, unit: Unit, means: Values, sag: bool = False) -> FlatCircuit:
    """Return the circuit whose reservoirs are held at these means, mains off.

    Parameters
    ----------
    session : Session
    flat : FlatCircuit
    unit : Unit
    means : array, (reservoir,) [V]
    sag : bool
        True to set how the supply sags by the current that flows now; else that is left as it is.
    """
    rails = reservoirs(unit)
    if not rails:
        return flat
    nodes = [fed_node(rail.name) for rail in rails]
    sources = [_hold(rail.name) for rail in rails]
    volts = np.array(means, dtype=float)
    for _ in range(6):
        flat = flat.with_values({source: value for (source, _), value in zip(sources, volts, strict=True)})
        session.load(flat.lines())
        found = session.op(nodes)
        off = means - found
        if np.all(np.abs(off) < 1e-4 + 1e-5 * np.abs(means)):
            break
        if sag:
            ohms = np.array([flat.elements[resistor].value for _, resistor in sources])
            amps = np.abs(volts - found) / ohms
            ohms = np.clip(SAG * np.abs(means) / np.maximum(amps, 1e-4), 0.05, 2e3)
            flat = flat.with_values({name: value for (_, name), value in zip(sources, ohms, strict=True)})
            volts, sag = means + np.sign(means) * ohms * amps, False
        else:
            volts = volts + off
    return flat


def ripple_source(flat: FlatCircuit, unit: Unit) -> FlatCircuit:
    """Return the circuit, mains off, in which small-signal analysis has the reservoirs' ripple as its only source."""
    quiet = flat.elements[GENERATOR]
    sources = [
        replace(flat.elements[_hold(rail.name)[0]], rest=f"{flat.elements[_hold(rail.name)[0]].value:.12g} "
                f"ac {np.sign(rail.volts):g}")
        for rail in reservoirs(unit)
    ]  # fmt: skip
    return flat.with_elements(replace(quiet, rest=f"{quiet.value:.12g}"), *sources)


def on_mains(
    session: Session, flat: FlatCircuit, unit: Unit, start: Values, nodes: Sequence[str], watched: Sequence[str] = ()
) -> OnMains:
    """Follow a circuit on the mains until its reservoirs have settled.

    Parameters
    ----------
    session : Session
    flat : FlatCircuit
    unit : Unit
        With supplies.
    start : array, (reservoir,) [V]
        Where to begin: the nearer, the sooner it settles.
    nodes : sequence of str
        Whose ripple is wanted.
    watched : sequence of str
        Resistors, such as fuses, whose current is wanted.

    Raises
    ------
    RunFailed
        If ngspice gives up on the transient.
    """
    assert unit.feed is not None
    rails = reservoirs(unit)
    held_nodes = [fed_node(rail.name) for rail in rails]
    heating = heatings(unit)
    seen = list(dict.fromkeys([*ends_of(flat, heating), *both_ends(flat, watched)]))
    period = 1 / unit.feed.frequency
    mains = flat.elements[MAINS_SOURCE]
    peak = unit.feed.volts * 2**0.5
    quiet = flat.elements[GENERATOR]
    live = flat.with_values({_hold(rail.name)[1]: _AWAY for rail in rails}).with_elements(
        replace(mains, rest=f"0 sin(0 {peak:.9g} {unit.feed.frequency:.9g})"),
        replace(quiet, rest=f"{quiet.value:.12g}"),
    )
    now = np.array(start, dtype=float)
    signs = np.array([np.sign(rail.volts) for rail in rails])
    grid = period * np.arange(_GRID) / _GRID
    settled = False
    for number in range(ROUNDS):
        begin = [f".ic v({node})={value:.9g}" for node, value in zip(held_nodes, now, strict=True)]
        lines = live.lines()
        session.load([*lines[:-1], *begin, _SOLVER, lines[-1]])
        time, values = session.tran(CYCLES * period, period / STEPS_A_CYCLE, [*held_nodes, *seen, *nodes])
        cycles = np.array([
            [np.interp(grid + cycle * period, time, row) for row in values] for cycle in range(1, CYCLES)
        ])  # fmt: skip
        means = cycles[:, : len(held_nodes)].mean(axis=2)
        moved = means[-1] - means[-2]
        begun_near = np.abs(means[-1] - now) < BEGUN * np.abs(means[-1]) + 10 * SETTLED_VOLTS
        settled = bool(np.all(begun_near & (np.abs(moved) < SETTLED * np.abs(means[-1]) + SETTLED_VOLTS)))
        if settled:
            break
        near = np.abs(means[-1] - now) < 4 * BEGUN * np.abs(means[-1])
        now = np.where(near, means[-1], np.maximum(signs * _ahead(means), 0.0) * signs)
        if number >= LEFT:
            # What nothing charges would empty for minutes: begun from nothing, it tells at once.
            now = np.where(np.abs(means[-1]) < 0.5 * np.abs(start), 0.0, now)
        if number >= FALLEN:
            now = np.where(_only_falls(signs[:, None] * np.hstack(list(cycles[:, : len(held_nodes)]))), 0.0, now)
    cycle = dict(zip(seen, cycles[-1, len(held_nodes) :], strict=False))
    others = len(held_nodes) + len(seen)
    last = cycles[-1, others:]
    # What has not settled altogether behind long time constants drifts by; that is no ripple.
    ends = np.array([np.interp([grid[0] + (CYCLES - 1) * period, CYCLES * period], time, row) for row in values])
    drift = (ends[others:, 1:] - ends[others:, :1]) * np.linspace(0, 1, _GRID, endpoint=False)
    return OnMains(
        means[-1], np.ptp(last - drift, axis=1), settled, power(flat, heating, cycle), currents(flat, watched, cycle)
    )


def _ahead(means: Values) -> Values:
    """Return where a series of means is heading, each step a share of the one before: array, (reservoir,)."""
    before, after = means[-2] - means[-3], means[-1] - means[-2]
    share = np.divide(after, before, out=np.zeros_like(after), where=np.abs(before) > 1e-9)
    share = np.clip(share, 0.0, 0.97)
    return np.asarray(means[-1] + after * share / (1 - share))


def _only_falls(volts: Values) -> Values:
    """Say of each reservoir whether nothing charges it: bool array, (reservoir,).

    Parameters
    ----------
    volts : array, (reservoir, time) [V]
        Without their sign. A reservoir that is charged rises in every cycle, by about what it falls.
    """
    steps = np.diff(volts, axis=1)
    return np.asarray(np.maximum(steps, 0).sum(axis=1) < 0.05 * np.maximum(-steps, 0).sum(axis=1))


def settled_supply(session: Session, flat: FlatCircuit, unit: Unit) -> FlatCircuit:
    """Return the healthy circuit with its reservoirs held where the mains leaves them."""
    start = np.array([rail.volts for rail in reservoirs(unit)])
    found = on_mains(session, flat, unit, start, ())
    if not found.settled:
        raise RunFailed("the supply does not settle on the mains", ())
    flat = flat.with_values({each.kept: float(watts) for each, watts in zip(heatings(unit), found.heat, strict=True)})
    return held(session, flat, unit, found.means, sag=True)
