"""Drawing a drill: a unit from its tolerances, and faults by how often they happen, until one shows as it should."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from lostgain.circuit import Circuit
from lostgain.circuit.flat import parameter
from lostgain.circuit.mains import holding
from lostgain.engine import Pool
from lostgain.faults import Fault, listing, modes_for, rates
from lostgain.problems import UserError
from lostgain.readings import instruments
from lostgain.signatures.draws import CUT, varied
from lostgain.signatures.poweroff_circuit import varied_off
from lostgain.teach.hidden import Built, Hidden, own_numbers
from lostgain.teach.order import Level, level
from lostgain.teach.prove import noticed
from lostgain.unit.model import Unit

#: Faults tried before a level is said to be out of a unit's reach.
TRIES = 40
#: One standard deviation of a generator's level, as a fraction (common practice, no source).
GENERATOR_ERROR = 0.01
#: Modes that come and go with each condition; any mode may come with level.
COMES = {
    "warm": ("joint", "collector-joint", "base-joint", "leaky", "inp-leaky", "low-gain", "esr", "open"),
    "vibration": ("joint", "contact", "collector-joint", "base-joint", "wiper-open", "open"),
    "level": (),
}

#: Instruments that came later: drawn apart, so that a seed hides what it hid before.
ADDED = ("capacitance-meter", "distortion-meter")

Progress = Callable[[int, int], None]


def made_of(circuit: Circuit) -> str:
    """Return a digest of a circuit at nominal values."""
    return hashlib.sha256("\n".join(circuit.flat.lines()).encode()).hexdigest()[:16]


def draw(unit: Unit, circuit: Circuit, number: int, seed: int, pool: Pool, progress: Progress | None = None) -> Hidden:
    """Draw a drill.

    Parameters
    ----------
    unit : Unit
    circuit : Circuit
        Of the unit's own set-up.
    number : int
        The level.
    seed : int
    pool : Pool
    progress : callable, optional
        Called with how many faults were tried, of how many at most.

    Raises
    ------
    UserError
        If there is no such level, or the unit cannot offer it.
    """
    wanted = level(number)
    if wanted.good and len(unit.channels) < 2:
        raise UserError(f"level {number} needs a good channel beside the faulty one, and this unit has one channel. "
                        f"Try --level 3.")  # fmt: skip
    rng = np.random.default_rng([seed, number])
    hidden = _unit(unit, circuit, wanted, seed, rng)
    pick = _Picker(circuit, wanted, len(unit.channels) > 1)
    for count in range(TRIES):
        if progress is not None:
            progress(count, TRIES)
        faults, condition = pick.faults(rng)
        if not faults:
            break
        tried = replace(hidden, faults=faults, condition=condition)
        found = noticed(unit, tried, wanted, pool)
        if found:
            return replace(tried, symptoms=found)
        pick.leave_out(faults)
    why = f"; none of {TRIES} faults drawn shows as it should" if faults else ""
    raise UserError(f"this unit offers no drill of level {number} ({wanted.title}){why}. Try another level or seed.")


def hide(
    unit: Unit, circuit: Circuit, number: int, seed: int, pool: Pool, faults: tuple[Fault, ...],
    channel: str = "", condition: str = "",
) -> Hidden:  # fmt: skip
    """Return a drill with faults that somebody chose.

    Parameters
    ----------
    unit : Unit
    circuit : Circuit
    number : int
        The level.
    seed : int
        Of the tolerances, the instruments and the order's wording.
    pool : Pool
    faults : tuple of Fault
    channel : str
        That has failed; drawn if empty.
    condition : str
        Of an intermittent fault, one of `lostgain.teach.hidden.CONDITIONS`.

    Raises
    ------
    UserError
        If nothing of it would be noticed.
    """
    wanted = level(number)
    hidden = _unit(unit, circuit, wanted, seed, np.random.default_rng([seed, number]))
    if channel:
        others = [each.name for each in unit.channels if each.name != channel]
        hidden = replace(hidden, channel=channel, good="" if wanted.alone or not others else others[0])
    if any(_of_all(each) for each in faults):
        hidden = replace(hidden, good="")
    hidden = replace(hidden, faults=faults, condition=condition)
    found = noticed(unit, hidden, wanted, pool)
    if not found:
        raise UserError(f"nothing of that would be noticed at level {number} ({wanted.title}).")
    return replace(hidden, symptoms=found)


def _unit(unit: Unit, circuit: Circuit, wanted: Level, seed: int, rng: np.random.Generator) -> Hidden:
    """Draw the unit as it was built, the new parts in the drawer, and the instruments of the bench."""
    names = [channel.name for channel in unit.channels]
    built = {name: _built(circuit, rng) for name in names}
    shared = _of_all_channels(circuit)
    first = built[names[0]]
    for name in names[1:]:
        same = {each: pair for each, pair in first.values.items() if each in shared}
        models = {key: value for key, value in first.parameters.items() if key.split(" ")[0] in shared}
        losses = {key: value for key, value in first.losses.items() if key.startswith("rail ")}
        each = built[name]
        built[name] = Built({**each.values, **same}, {**each.parameters, **models}, {**each.losses, **losses})
    channel = names[int(rng.integers(len(names)))]
    others = [name for name in names if name != channel]
    kinds = instruments(unit.folder)
    own = np.random.default_rng([seed, wanted.number, len(ADDED)])
    meters = {name: (_normal(own if name in ADDED else rng), _normal(own if name in ADDED else rng))
              for name in sorted(kinds)}  # fmt: skip
    return Hidden(
        unit=unit.name, made_of=made_of(circuit), level=wanted.number, seed=seed,
        channel=channel, good="" if wanted.alone or not others else others[0], faults=(), condition="", built=built,
        spares=_built(circuit, rng), meters=meters, generator=1 + GENERATOR_ERROR * _normal(rng),
    )  # fmt: skip


def _normal(rng: np.random.Generator) -> float:
    return float(np.clip(rng.standard_normal(), -CUT, CUT))


def _built(circuit: Circuit, rng: np.random.Generator) -> Built:
    values: dict[str, tuple[float, float]] = {}
    parameters: dict[str, float] = {}
    for number in varied(circuit):
        z = _normal(rng)
        for element in number.elements:
            nominal = circuit.flat.elements[element].value
            values[element] = (nominal, number.change(nominal, z))
        if number.model is not None:
            model, name = number.model
            text = circuit.flat.models[model]
            parameters[f"{model} {name}"] = number.change(_nominal(text, name), z)
    return Built(values, parameters, {name: _normal(rng) for name in varied_off(circuit)})


def _nominal(text: str, name: str) -> float:
    found = parameter(text, name)
    assert found is not None
    return found


def _of_all_channels(circuit: Circuit) -> set[str]:
    """Return the elements and models that serve all channels: rails, their fuses, and a described supply."""
    unit = circuit.unit
    own = {stage.name for stage in unit.supplies}
    fuses = {rail.fuse for rail in unit.rails}
    parts = [name for name, place in circuit.parts.items()
             if place.part.kind == "rail" or place.part.stage in own or name in fuses]  # fmt: skip
    return {name for part in parts for name in own_numbers(circuit, part)} | {name for name, _ in holding(unit)}


def _of_all(fault: Fault) -> bool:
    """Tell whether a failure concerns all channels: of what they share, or with a fuse of theirs among its parts."""
    return fault.shared or any(each.shared for each in fault.members)


class _Picker:
    """Draws faults by how often each part and mode fails at the bench.

    Parameters
    ----------
    circuit : Circuit
    wanted : Level
    several : bool
        Whether the unit has more than one channel: a fault of what they share leaves none of them good.
    """

    def __init__(self, circuit: Circuit, wanted: Level, several: bool) -> None:
        self.circuit, self.wanted = circuit, wanted
        once = {(fault.part, fault.mode): fault for fault in listing(circuit)}.values()
        self.modes = [
            each for each in once if not (several and _of_all(each) and not wanted.alone) and self._fits(each)
        ]
        known = rates("bench")
        weights = []
        for fault in self.modes:
            kind = circuit.parts[fault.part].part.kind
            weights.append(known.of_cluster(fault.mode) if fault.members else
                           known.of_kind(kind) * known.of_mode(kind, fault.mode))  # fmt: skip
        self.share = np.array(weights) / max(sum(weights), 1e-300)

    def _fits(self, fault: Fault) -> bool:
        if self.circuit.parts[fault.part].part.kind == "rail":
            return False  # a rail is no part that could be replaced
        return not ((self.wanted.condition or self.wanted.faults > 1 or not self.wanted.power) and fault.members)

    def faults(self, rng: np.random.Generator) -> tuple[tuple[Fault, ...], str]:
        """Draw as many faults as the level wants, in different parts, and the condition they come with."""
        if not self.share.sum():
            return (), ""
        condition = ""
        share = self.share
        if self.wanted.condition:
            condition = str(rng.choice(sorted(COMES)))
            fits = np.array([not COMES[condition] or each.mode in COMES[condition] for each in self.modes])
            share = share * fits
            if not share.sum():
                return (), ""
        found: list[Fault] = []
        while len(found) < self.wanted.faults:
            one = self.modes[int(rng.choice(len(self.modes), p=share / share.sum()))]
            if one.part not in {each.part for each in found}:
                found.append(self._severe(one, rng))
        return tuple(found), condition

    def leave_out(self, faults: tuple[Fault, ...]) -> None:
        """Draw a part's failure no more that did not show as it should."""
        if len(faults) == 1 and not self.wanted.condition:
            same = np.array([(each.part, each.mode) == (faults[0].part, faults[0].mode) for each in self.modes])
            self.share = np.where(same, 0.0, self.share)
            self.share = self.share / max(self.share.sum(), 1e-300)

    def _severe(self, fault: Fault, rng: np.random.Generator) -> Fault:
        if fault.members or fault.severity is None:
            return fault
        kind = self.circuit.parts[fault.part].part.kind
        mode = next(each for each in modes_for(kind) if each.name == fault.mode)
        weights = np.array(mode.weights)
        return replace(fault, severity=float(rng.choice(mode.levels, p=weights / weights.sum())))
