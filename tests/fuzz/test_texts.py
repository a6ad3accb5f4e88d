"""Fuzzing of everything that is typed as one word or one line: it is read, or refused by the documented exception."""

from __future__ import annotations

import contextlib
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import lostgain
from lostgain.circuit import Circuit, build
from lostgain.cli.main import COMMANDS, main
from lostgain.diagnosis.knowledge import facts, stated
from lostgain.faults import listing, parse
from lostgain.problems import UserError
from lostgain.quantities import component, measure, show
from lostgain.readings.cells import Cells
from lostgain.readings.instruments import spoken
from lostgain.readings.typed import place_cells, typed
from lostgain.readings.values import parse as parse_value
from lostgain.readings.values import unit_of
from lostgain.readings.words import asked, is_place, quantities, quantity, sign, spellings, state, word
from lostgain.unit.channels import called, renumbered
from lostgain.unit.controls import share
from lostgain.unit.kinds import families, kinds
from lostgain.unit.names import inside, is_designator, name_fault
from lostgain.unit.parttext import PartFault, read_part, tolerance
from lostgain.unit.spicevalue import spice_value
from tests.fuzz.cases import fuzzed, text_near

UNITS = Path(__file__).parents[1] / "units"
CHAIN = lostgain.open_unit(UNITS / "chain")
CELLS = Cells(CHAIN, {"value": "mV rms", "frequency": "kHz"})

COMPONENTS = ["2k2", "4R7", "R22", "0R", "1.5k", "1,5 kΩ", "4u7", "10 µF", "100n", "3p3", "1M5", "3A15", "5V1", "10 mH",
              "22k", "47 uF", "0.1 ohm", "1 Meg"]  # fmt: skip
COMPONENT_UNITS = ["ohm", "farad", "henry", "ampere", "volt"]
MEASURES = ["1.2Vpp", "420 mV rms", "-18 dBu", "-10 dBV", "12 mVpk", "+15 V", "10k", "10 kHz", "2 min", "5%", "100 W",
            "1/4 W", "80 mA", "3V3", "30 s", "-0.6 V dc", "1e-3 V rms"]  # fmt: skip
DIMENSIONS = ["voltage", "frequency", "power", "current", "time", "fraction", "resistance", "capacitance"]
PARTS = ["R14 22k 1%", "C9 47u 16V", "U2A opamp-jfet", "RV1 10k log", "Q1 npn-small", "F1 3.15A", "C1 1u film -20/+50%",
         "D1 zener-15 15V", "R1 0R22 5W ±5 %", "K1 relay", "R3 1/4W 22 kΩ"]  # fmt: skip
VALUES = ["1.2Vpp", "420 mV rms", "-18 dBu", "12 mV dc", "120 mA", "< 2 mV", "> 10 Vpp", "~ 3 V rms", "nothing", "23 W",
          "same as good", "low", "clipped", "loud hum", "can't reach", "over range", "4k7", "OL", "12 ohm", "not seen",
          "0.6 V diode", "470 µF"]  # fmt: skip
FAULTS = ["C7 open", "R3 drift 3x", "R3 drift x0,5", "C2 lost 10 %", "C2 esr 40", "U1A dead", "RV1 contact 10k",
          "VP missing", "R3 drift 66k", "U1A low gain 1e-4", "F1 blown"]  # fmt: skip
NAMES = [point.name for point in CHAIN.points]
POINTS = [*NAMES, "u1-1", "U1 p3", "U101 pin 1", "U1 pin 1 to U1 pin 3", "across TP4 and U1 pin 1", "U1 pin 1 - ground",
          "RV1, wiper", "U1 pin 1 to pin 3", "one leg lifted C1", "C1", "R3"]  # fmt: skip
CHANNELS = [channel.name for channel in CHAIN.channels]


@fuzzed()
@given(text_near(COMPONENTS), st.sampled_from(COMPONENT_UNITS))
def test_component(text: str, unit: str) -> None:
    with contextlib.suppress(ValueError):
        value = component(text, unit)
        assert math.isfinite(value)
        assert value >= 0


@fuzzed()
@given(st.floats(1e-12, 9.99e11), st.sampled_from(COMPONENT_UNITS))
def test_component_comes_back(value: float, unit: str) -> None:
    low = {"ohm": 1e-3, "farad": 1e-12, "henry": 1e-9, "ampere": 1e-6, "volt": 1e-3}[unit]
    high = {"ohm": 9.99e11, "farad": 0.99, "henry": 9.99e2, "ampere": 9.99e2, "volt": 9.99e2}[unit]
    value = min(max(value, low), high)
    assert component(show(value, unit, 6), unit) == pytest.approx(value, rel=1e-5)


@fuzzed()
@given(text_near(MEASURES), st.sampled_from(DIMENSIONS))
def test_measure(text: str, dimension: str) -> None:
    with contextlib.suppress(ValueError):
        assert math.isfinite(measure(text, dimension).value)


@fuzzed()
@given(st.floats(1.0, 9.99e2), st.sampled_from(["V rms", "Hz", "W", "A", "s"]))
def test_measure_comes_back(value: float, unit: str) -> None:
    dimension = {"V rms": "voltage", "Hz": "frequency", "W": "power", "A": "current", "s": "time"}[unit]
    assert measure(show(value, unit, 6), dimension).value == pytest.approx(value, rel=1e-5)


@fuzzed()
@given(text_near(PARTS, COMPONENTS), st.sampled_from(["", *kinds(), *families()]))
def test_part_text(text: str, role: str) -> None:
    with contextlib.suppress(PartFault):
        part = read_part(text, role)
        assert is_designator(part.designator)
        assert part.kind in kinds()
        assert part.value is None or math.isfinite(part.value)
        assert part.rating is None or 0 < part.rating < math.inf
        assert part.tolerance is None or -1 < part.tolerance[0] <= 0 <= part.tolerance[1]


@fuzzed()
@given(
    text_near(["5%", "±5 %", "-20/+50%", "+/-10%", "1 %"]), text_near(["22k", "100n", "1Meg", "1e-3", "4.7u", "{r}"])
)
def test_tolerance_and_netlist_value(text: str, value: str) -> None:
    with contextlib.suppress(PartFault):
        low, high = tolerance(text)
        assert -1 < low <= 0 <= high <= 4
    for letter in "RCL":
        with contextlib.suppress(ValueError):
            assert 0 <= spice_value(value, letter) < math.inf


@fuzzed()
@given(text_near(["-6 dB", "half", "full", "0.3 turn", "30 %", "1/4"]), st.sampled_from(["linear", "audio", "reverse"]))
def test_control(text: str, taper: str) -> None:
    with contextlib.suppress(ValueError):
        assert 0 <= share(text, taper) <= 1


@fuzzed()
@given(text_near([*NAMES, "R14", "board.cir", "parts/a.cir"]), st.integers(-(10**6), 10**6))
def test_names(text: str, add: int) -> None:
    name_fault(text)
    if is_designator(text) and (new := renumbered(text.upper(), add)):
        assert new == text.upper() or is_designator(new) or len(new) > 16
    for channel in CHAIN.channels:
        called(channel, text)
    with contextlib.suppress(ValueError):
        assert inside(UNITS / "filter", text).resolve().is_relative_to((UNITS / "filter").resolve())


@fuzzed()
@given(text_near(VALUES, spellings()), st.sampled_from(["", *quantities()]), st.sampled_from(["", "mV", "Vpp", "kΩ"]))
def test_value(text: str, head: str, unit: str) -> None:
    with contextlib.suppress(ValueError):
        value = parse_value(text, head, unit)
        assert value.value is None or math.isfinite(value.value)
        assert not (value.below and value.above)
    unit_of(text)


@fuzzed()
@given(text_near([*spellings(), *quantities(), "loud hum", "no noise", "ground", "all", "how much?"]))
def test_words(text: str) -> None:
    for read in (word, quantity, asked, state, spoken, sign):
        read(text)
    for place in ("ground", "mains", "all channels"):
        is_place(text, place)


@fuzzed()
@given(text_near(POINTS, NAMES), text_near(["", "ground", *NAMES]), text_near(["", *CHANNELS, "all", "up"]))
def test_places(text: str, other: str, channel: str) -> None:
    for read in (CELLS.frequency, CELLS.instrument, CELLS.channel):
        with contextlib.suppress(ValueError):
            read(text)
    named = ""
    with contextlib.suppress(ValueError):
        named = CELLS.channel(channel)
    for head in ("", "level", "current", "resistance"):
        with contextlib.suppress(ValueError):
            place = CELLS.place(text, other, named, head)
            assert place.channel in ("", *CHANNELS)


@fuzzed()
@given(st.sampled_from(NAMES), st.sampled_from(["", *CHANNELS]))
def test_a_point_is_found_by_what_its_channel_calls_it(name: str, channel: str) -> None:
    own = CELLS.finder.own(name, channel)
    for text in (own, f"  {own.lower()} ", own.upper().replace(" ", "  ")):
        assert CELLS.finder.point(text, channel)[0] == name


@fuzzed(0.5)
@given(text_near(POINTS, NAMES), text_near(VALUES), text_near(["", "level", "dc"]), text_near(["", "500 Hz", "low"]))
def test_typed(point: str, value: str, head: str, frequency: str) -> None:
    with contextlib.suppress(UserError):
        typed(CHAIN, {"test point": point, "value": value, "quantity": head, "frequency": frequency})
    with contextlib.suppress(UserError):
        place_cells(CHAIN, f"{point}, {head}, {frequency}")


CIRCUITS: list[Circuit] = []


def circuit() -> Circuit:
    """Return the chain's circuit, built once."""
    if not CIRCUITS:
        CIRCUITS.append(build(CHAIN))
    return CIRCUITS[0]


@fuzzed()
@given(text_near(FAULTS, [*CHAIN.parts, " open", " drift ", " dead", " short"]))
def test_fault(text: str) -> None:
    with contextlib.suppress(UserError):
        fault = parse(text, circuit())
        assert fault.members or fault.part in circuit().parts
        assert fault.severity is None or 0 < fault.severity < math.inf


def test_every_fault_comes_back() -> None:
    for fault in listing(circuit()):
        text = f"{fault.part} {fault.mode}" + (f" {fault.severity!r}" if fault.severity is not None else "")
        again = parse(text, circuit())
        assert (again.mode, again.severity) == (fault.mode, fault.severity), text


NOTES = [spelling for row in facts()["note"] for spelling in (row["name"], *row.get("also", ()))]


@fuzzed()
@given(
    st.lists(text_near([*CHAIN.parts, "R102"]), max_size=2),
    st.one_of(st.none(), st.floats(), st.integers(-5, 300)),
    st.lists(text_near(NOTES), max_size=2),
    st.lists(text_near([*CHAIN.parts, "U2"]), max_size=2),
    text_near(["", *(stage.name for stage in CHAIN.stages)]),
)
def test_knowledge(suspects: list[str], age: float | None, notes: list[str], new: list[str], stage: str) -> None:
    with contextlib.suppress(UserError):
        known = lostgain.known(CHAIN, suspects, age, notes, new, stage)
        assert known.stage in ("", *(each.name for each in CHAIN.stages))
        assert len(known.notes) == len(notes)
        assert stated(known) is not None


WORDS = ["check", "units", "match", "next", "predict", "--json", "--age", "-3", "nan", "--suspect", "R1", "--note",
         "--help", "ferry-terminal", "--workers", "table", "--rates", "x.csv", "--fault", "C7 open"]  # fmt: skip


@fuzzed(0.3)
@given(st.lists(text_near(WORDS), max_size=5))
def test_command_line(words: list[str]) -> None:
    # No word may name something that is there: only the reading of the words is looked at.
    as_is = [word if word in COMMANDS or word.startswith("-") else f"{word}\N{BULLET}" for word in words]
    assert main(as_is) in (0, 2)
