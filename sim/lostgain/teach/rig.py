"""The bench of a drill: what is at a place of the hidden unit, in the set-up that stands, with the probe on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, Element, FlatCircuit
from lostgain.circuit.build import build
from lostgain.circuit.model import COLD, SOURCE, rail_node
from lostgain.engine import Pool
from lostgain.faults import Fault, put_in
from lostgain.readings.model import Instrument
from lostgain.signatures.poweroff import meter_of
from lostgain.signatures.poweroff_facts import facts as off_facts
from lostgain.signatures.poweroff_meter import Meter
from lostgain.signatures.poweroff_places import Place, alone
from lostgain.signatures.poweroff_row import OffTask, run_off_row
from lostgain.teach.hidden import Bench, Hidden, own_numbers
from lostgain.teach.looking import Look, Seen, Supply, rail_current, supplied, tried
from lostgain.teach.standing import other_channel, standing
from lostgain.unit.load import Load
from lostgain.unit.loads import parse_load
from lostgain.unit.model import Unit

Values = NDArray[np.float64]

#: A leg that is lifted [ohm].
LIFTED = 1e9


class Rig:
    """Simulates a hidden unit; knows what the apprentice does not.

    Parameters
    ----------
    unit : Unit
    hidden : Hidden
    pool : Pool
        One worker does.
    """

    def __init__(self, unit: Unit, hidden: Hidden, pool: Pool) -> None:
        self.unit, self.hidden, self.pool = unit, hidden, pool
        self._circuits: dict[Any, Circuit] = {}
        self._supplied: dict[Any, tuple[FlatCircuit, Values]] = {}
        self._seen: dict[Any, Seen | str] = {}

    def keep(self, circuit: Circuit) -> None:
        """Use a circuit of the unit's own set-up that was built already."""
        self._circuits["", ()] = circuit

    def circuit(self, bench: Bench, channel: str) -> Circuit:
        """Return a channel's circuit in the set-up that stands, at nominal values."""
        turned = dict(bench.controls.get(channel, {}))
        key = (bench.load, tuple(sorted(turned.items())))
        if key not in self._circuits:
            setup = self.unit.setup
            controls = {**setup.controls, **turned}
            load = self.load(bench)
            loads = {} if bench.load else setup.loads
            changed = replace(self.unit, setup=replace(setup, controls=controls, load=load, loads=loads))
            self._circuits[key] = build(changed if bench.load or turned else self.unit, self.pool)
        return self._circuits[key]

    def load(self, bench: Bench) -> Load:
        """Return what hangs on the output."""
        return parse_load(bench.load) if bench.load else self.unit.setup.load

    def healthy(self, bench: Bench, channel: str) -> Circuit:
        """Return a channel as it was built, new and swapped parts in it, without what has failed."""
        circuit = self.circuit(bench, channel)
        flat = self.hidden.built[channel].put_into(circuit.flat, circuit.flat)
        other = other_channel(self.unit, channel)
        for part in bench.swapped:
            flat = self.hidden.built[other].put_into(flat, circuit.flat, own_numbers(circuit, part))
        for where, part in bench.replaced:
            if where == channel or self._shared(part):
                flat = self.hidden.spares.put_into(flat, circuit.flat, own_numbers(circuit, part))
        return replace(circuit, flat=flat)

    def _shared(self, part: str) -> bool:
        return any(each.part == part and each.shared for each in self.hidden.members)

    def faulty(self, bench: Bench, channel: str) -> tuple[Circuit, FlatCircuit, tuple[Fault, ...]]:
        """Return a channel as built, the same with what has failed and what was lifted, and the faults that show."""
        circuit = self.healthy(bench, channel)
        faults = standing(self.hidden, bench, self.unit, channel)
        flat = circuit.flat
        for fault in faults:
            flat = put_in(flat, fault, circuit)
        for where, part in bench.lifted:
            if where == channel:
                flat = _lifted(flat, circuit, part)
        for where, part in bench.bridged:
            if where == channel:
                flat = _bridged(flat, circuit, part)
        return circuit, flat, faults

    def live(self, bench: Bench, channel: str) -> FlatCircuit:
        """Return a channel with the power on, its reservoirs where the mains leaves them."""
        return self._live(bench, channel)[0]

    def ripple(self, bench: Bench, channel: str, point: str) -> float:
        """Return the ripple at a test point [V peak to peak]; NaN where the unit's supply is not described."""
        ripple = self._live(bench, channel)[1]
        return float(ripple[list(self.circuit(bench, channel).points).index(point)]) if len(ripple) else float("nan")

    def _live(self, bench: Bench, channel: str) -> tuple[FlatCircuit, Values]:
        circuit, flat, faults = self.faulty(bench, channel)
        if not self.unit.supplies:
            return flat, np.zeros(0)
        key = tuple(flat.lines())
        if key not in self._supplied:
            outcome = self.pool.map(supplied, [Supply(circuit, flat, faults)])[0]
            if outcome.error:
                return flat, np.full(len(circuit.points), np.nan)
            self._supplied[key] = outcome.value
        return self._supplied[key]

    def see(
        self, bench: Bench, channel: str, nodes: tuple[str, str], instrument: Instrument, frequency: float | None,
        common: bool = False,
    ) -> Seen | str:  # fmt: skip
        """Return what is between two nodes with an instrument's probe there, or why that cannot be said.

        Parameters
        ----------
        bench : Bench
        channel : str
        nodes : (str, str)
        instrument : Instrument
        frequency : float or None
            Of the generator [Hz]; None for DC, with the generator off.
        common : bool
            Both legs of a balanced input driven alike.
        """
        drive = bench.generator * self.hidden.generator if frequency is not None else 0.0
        flat = self.live(bench, channel)
        if common and frequency is not None:
            flat = _both_legs(flat, drive, frequency)
        task = Look(flat, nodes, min(instrument.resistance, 1e15), instrument.capacitance, drive,
                    frequency or self.unit.setup.frequencies[0], self.unit.setup.start_dc)  # fmt: skip
        key = (tuple(task.flat.lines()), nodes, task.ohms, task.farads, drive, frequency)
        if key not in self._seen:
            outcome = self.pool.map(tried, [task])[0]
            self._seen[key] = outcome.value if outcome.error is None else outcome.error
        return self._seen[key]

    def current(self, bench: Bench, rail: str) -> float:
        """Return what a rail delivers into all channels [A]."""
        tasks = [(self.circuit(bench, each.name), self.live(bench, each.name), rail) for each in self.unit.channels]
        outcomes = self.pool.map(rail_current, tasks)
        return float(sum(each.value if each.error is None else float("nan") for each in outcomes))

    def off(self, bench: Bench, channel: str, place: Place, instrument: Instrument, quantity: str) -> float:
        """Return what a meter shows with the power off [ohm], of a diode test [V]; NaN where that is not known."""
        return self._metered(bench, channel, place, meter_of(instrument, quantity))

    def farads(self, bench: Bench, channel: str, part: str, instrument: Instrument) -> float:
        """Return the capacitance of a lifted part in series with its resistance [F]; infinite for a short.

        Notes
        -----
        A capacitance meter with a sine takes the reactance X of what is between its leads for that of a capacitor:
        C = 1 / (2 pi f X). The leakage of a bad one makes it read more than it has, its series resistance does not.
        """
        place = alone(self.circuit(bench, channel), part)[0]
        own = meter_of(instrument, "esr")  # an impedance at one frequency
        size, real = (self._metered(bench, channel, place, replace(own, shows=each)) for each in ("size", "real"))
        reactance = float(np.sqrt(max(size**2 - real**2, 0.0))) if np.isfinite([size, real]).all() else float("nan")
        return 1 / (2 * np.pi * instrument.test_frequency * reactance) if reactance else float("inf")

    def _metered(self, bench: Bench, channel: str, place: Place, meter: Meter) -> float:
        """Return what a meter shows with the power off; NaN where that is not known."""
        circuit = self.healthy(bench, channel)
        faults = standing(self.hidden, bench, self.unit, channel)
        together = replace(faults[0], members=faults) if faults else None
        flat = circuit.flat
        for where, part in bench.lifted:
            if where == channel and not place.lifted:
                flat = _lifted(flat, circuit, part)
        for where, part in bench.bridged:
            if where == channel and not place.lifted:
                flat = _bridged(flat, circuit, part)
        task = OffTask(
            replace(circuit, flat=flat), off_facts(self.unit), meter, (place,), together, None, [], np.zeros((1, 0)),
            (self._losses(bench, channel),),
        )  # fmt: skip
        outcome = self.pool.map(run_off_row, [task])[0]
        if outcome.error is not None:
            return float("nan")
        return float(outcome.value.value[1, 0, 0])

    def _losses(self, bench: Bench, channel: str) -> dict[str, float]:
        """Return what differs only with the power off; a new electrolytic is a new one in that too."""
        new = {part for where, part in bench.replaced if where == channel or self._shared(part)}
        spare = {name: z for name, z in self.hidden.spares.losses.items() if name.split(" ")[-1] in new}
        return {**self.hidden.built[channel].losses, **spare}

    def nodes(self, names: Sequence[str], bench: Bench, channel: str) -> tuple[str, str]:
        """Return the nodes of a test point or rail and of what the other lead is on; ground for an empty name."""
        points = self.circuit(bench, channel).points
        rails = {rail.name: rail_node(rail.name) for rail in self.unit.rails}
        one, other = (points[name] if name in points else rails.get(name, "0") for name in names)
        return one, other


def _both_legs(flat: FlatCircuit, drive: float, frequency: float) -> FlatCircuit:
    """Drive the cold leg of a balanced input as the hot one, both from the same terminal."""
    sine = f"0 ac {drive:.12g} sin(0 {drive * 2**0.5:.12g} {frequency:.12g})"
    return flat.with_elements(replace(flat.elements[COLD], rest=sine)).with_values({SOURCE: 1e-3})


def _lifted(flat: FlatCircuit, circuit: Circuit, part: str) -> FlatCircuit:
    """Lift the first leg of a part off the board."""
    pin = next(iter(circuit.parts[part].pins.values()))
    element = flat.elements[pin.element]
    stem = f"drill_{pin.element}_{pin.index}".replace(".", "_")
    board = element.nodes[pin.index]
    return flat.with_elements(element.with_node(pin.index, stem), Element(f"r{stem}", (board, stem), f"{LIFTED:g}"))


def _bridged(flat: FlatCircuit, circuit: Circuit, part: str) -> FlatCircuit:
    """Put a good capacitor of a part's value across its legs."""
    place = circuit.parts[part]
    one, other = (circuit.node_of(part, pin) for pin in list(place.pins)[:2])
    name = f"cdrill_{place.element}".replace(".", "_")
    return flat.with_elements(Element(name, (one, other), f"{place.part.value:.12g}"))
