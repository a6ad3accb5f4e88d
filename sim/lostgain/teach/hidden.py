"""What a drill hides: one unit as it was built, each number of it, and what has failed in it. Drawn once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.faults import Fault
from lostgain.signatures.draws import varied

#: Conditions under which an intermittent fault shows.
CONDITIONS = ("warm", "level", "vibration")


@dataclass(frozen=True)
class Built:
    """One channel as it was built: each number of its circuit that differs from unit to unit.

    Parameters
    ----------
    values : mapping
        Element to (nominal, drawn) value (SI).
    parameters : mapping
        Model and parameter, with a blank between, to the value drawn.
    losses : mapping
        What differs only with the power off, by the names of `lostgain.signatures.poweroff_circuit.varied_off`:
        standard normal deviates.
    """

    values: Mapping[str, tuple[float, float]]
    parameters: Mapping[str, float]
    losses: Mapping[str, float]

    def put_into(self, flat: FlatCircuit, at_nominal: FlatCircuit, elements: set[str] | None = None) -> FlatCircuit:
        """Return a circuit with these numbers in it.

        Parameters
        ----------
        flat : FlatCircuit
        at_nominal : FlatCircuit
            The same circuit at nominal values; where one is another than when it was drawn (a control was turned), the
            drawn value is changed by the same factor.
        elements : set of str or None
            Elements, and models with their parameters, to change; all if None.
        """
        values = {}
        for name, (nominal, drawn) in self.values.items():
            if name in flat.elements and (elements is None or name in elements):
                now = at_nominal.elements[name].value
                moved = now != nominal and nominal
                values[name] = now * drawn / nominal if moved else drawn
        models = {}
        for key, value in self.parameters.items():
            model, parameter = key.split(" ")
            if model in flat.models and (elements is None or model in elements):
                models[model, parameter] = value
        return flat.with_values(values).with_parameters(models)


@dataclass(frozen=True)
class Hidden:
    """What a drill hides.

    Parameters
    ----------
    unit : str
        Its short name.
    made_of : str
        Digest of its healthy circuit at nominal values, by which a unit that was changed since is known.
    level, seed : int
    channel, good : str
        Which channel has failed, and which is known to be good; the second is empty where none is.
    faults : tuple of Fault
    condition : str
        One of `CONDITIONS`; empty where the fault always shows.
    built : mapping
        Channel to what it was built of.
    spares : Built
        The new parts in the drawer.
    meters : mapping
        Instrument to the deviates of its gain error and of its zero.
    generator : float
        How far the generator's level is from what it shows, as a factor.
    symptoms : tuple of str
        What the customer would notice, by the names of ``orders.toml``.
    """

    unit: str
    made_of: str
    level: int
    seed: int
    channel: str
    good: str
    faults: tuple[Fault, ...]
    condition: str
    built: Mapping[str, Built]
    spares: Built
    meters: Mapping[str, tuple[float, float]]
    generator: float
    symptoms: tuple[str, ...] = ()

    @property
    def members(self) -> tuple[Fault, ...]:
        """The single faults, those of parts that fail together each by itself."""
        return tuple(each for fault in self.faults for each in (fault.members or (fault,)))

    @property
    def parts(self) -> tuple[str, ...]:
        """Designators of the parts that failed, each once."""
        return tuple(dict.fromkeys(each.part for each in self.members))


def own_numbers(circuit: Circuit, part: str) -> set[str]:
    """Return the elements, and models, that hold a part's numbers."""
    alone = replace(circuit, parts={part: circuit.parts[part]}, unit=replace(circuit.unit, supplies=()))
    found: set[str] = set()
    for number in varied(alone):
        found |= set(number.elements) | ({number.model[0]} if number.model is not None else set())
    return found


def hidden_record(hidden: Hidden) -> dict[str, Any]:
    """Return what a drill hides as plain data."""
    return {
        "unit": hidden.unit, "made of": hidden.made_of, "level": hidden.level,
        "seed": hidden.seed, "channel": hidden.channel, "good": hidden.good, "condition": hidden.condition,
        "faults": [_fault_record(each) for each in hidden.faults], "generator": hidden.generator,
        "built": {name: _built_record(each) for name, each in hidden.built.items()},
        "spares": _built_record(hidden.spares), "symptoms": list(hidden.symptoms),
        "meters": {name: list(pair) for name, pair in hidden.meters.items()},
    }  # fmt: skip


def hidden_from(data: Mapping[str, Any]) -> Hidden:
    """Return what `hidden_record` wrote.

    Raises
    ------
    KeyError, TypeError, ValueError
        If something is missing or of another sort.
    """
    return Hidden(
        unit=data["unit"], made_of=data["made of"], level=int(data["level"]),
        seed=int(data["seed"]), channel=data["channel"], good=data["good"], condition=data["condition"],
        faults=tuple(_fault_from(each) for each in data["faults"]), generator=float(data["generator"]),
        built={name: _built_from(each) for name, each in data["built"].items()},
        spares=_built_from(data["spares"]), symptoms=tuple(data["symptoms"]),
        meters={name: (float(pair[0]), float(pair[1])) for name, pair in data["meters"].items()},
    )  # fmt: skip


def _fault_record(fault: Fault) -> dict[str, Any]:
    return {"part": fault.part, "mode": fault.mode, "severity": fault.severity, "stage": fault.stage,
            "shared": fault.shared, "members": [_fault_record(each) for each in fault.members]}  # fmt: skip


def _fault_from(data: Mapping[str, Any]) -> Fault:
    severity = data["severity"]
    members = tuple(_fault_from(each) for each in data["members"])
    return Fault(data["part"], data["mode"], None if severity is None else float(severity), data["stage"], members,
                 bool(data["shared"]))  # fmt: skip


def _built_record(built: Built) -> dict[str, Any]:
    return {"values": {name: list(pair) for name, pair in built.values.items()}, "parameters": dict(built.parameters),
            "losses": dict(built.losses)}  # fmt: skip


def _built_from(data: Mapping[str, Any]) -> Built:
    values = {name: (float(pair[0]), float(pair[1])) for name, pair in data["values"].items()}
    parameters = {name: float(value) for name, value in data["parameters"].items()}
    return Built(values, parameters, {name: float(value) for name, value in data["losses"].items()})


@dataclass(frozen=True)
class Bench:
    """How the bench stands at one moment of a drill.

    Parameters
    ----------
    generator : float
        Level it shows [V rms].
    frequency : float
        [Hz]
    load : str
        What hangs on the output, as a unit file would say it; empty for the unit's own.
    controls : mapping
        Channel to its potentiometers' settings, where they are not the unit's own: share of the voltage passed.
    power, limiter, discharged : bool
        ``discharged``: reservoirs measured empty since the power went off.
    instrument : str
        Chosen by hand; empty for what fits the quantity.
    lifted, replaced, bridged : tuple of (str, str)
        Channel and part.
    swapped : tuple of str
        Parts that changed places with the other channel's.
    repaired : bool
        Whether a part was changed since the unit last ran.
    warm : bool
    warmed, shaken : str
        Stage that hot air was blown at, or that was tapped last; empty for none.
    """

    generator: float
    frequency: float
    load: str = ""
    controls: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    power: bool = True
    limiter: bool = True
    discharged: bool = False
    instrument: str = ""
    lifted: tuple[tuple[str, str], ...] = ()
    replaced: tuple[tuple[str, str], ...] = ()
    bridged: tuple[tuple[str, str], ...] = ()
    swapped: tuple[str, ...] = ()
    repaired: bool = False
    warm: bool = False
    warmed: str = ""
    shaken: str = ""
