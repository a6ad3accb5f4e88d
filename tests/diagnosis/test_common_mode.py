"""Common mode: what is left of a signal on both legs shows a drifted resistor, where levels show nothing."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from lostgain import build_circuit, instruments, match, open_unit, read_readings, sheet, sheet_text, signature_table
from lostgain.circuit.model import COLD, balanced
from lostgain.diagnosis.candidates import candidates
from lostgain.problems import UserError
from lostgain.readings.model import Readings
from lostgain.signatures import Table

UNIT = Path(__file__).parent.parent / "units" / "tie-line"
LEVELS = "U101 pin 1,level,199 mV rms,West\nU101 pin 3,level,100 mV rms,West\nU101 pin 1,dc,2 mV,West\n"


@cache
def table() -> Table:
    return signature_table(build_circuit(open_unit(UNIT)))


def read(text: str, folder: Path) -> Readings:
    file = folder / "readings.csv"
    file.write_text(f"test point,quantity,value,channel\n{text}")
    return read_readings(file, open_unit(UNIT))


def share(readings: Readings, *parts: str) -> float:
    return sum(each.probability for each in match(table(), readings).suspects if each.part in parts)


def row(label: str) -> int:
    return [fault.label for fault in table().faults].index(label) + 1


def test_both_legs_are_driven_alike_by_a_source_of_their_own() -> None:
    assert balanced(table().circuit.flat)
    assert table().circuit.flat.elements[COLD].nodes[1] == "0"
    assert not balanced(build_circuit(open_unit(UNIT.parent / "chain")).flat)


def test_what_is_left_is_that_of_the_difference_amplifier() -> None:
    """A. S. Sedra and K. C. Smith, Microelectronic Circuits, the difference amplifier (from memory, to be verified):
    with RF at m times its value the common-mode gain is (1 - m) / 2; 1 V is on both legs, by the unit file."""
    at = list(table().points).index("U1 pin 1")
    drifts = [fault for fault in table().faults if fault.part == "R4" and fault.mode == "drift"]
    assert drifts
    for fault in drifts:
        assert fault.severity is not None
        if fault.severity < 4:  # beyond that the op-amp's own gain for common mode fills the rails
            wanted = abs(1 - fault.severity) / 2
            assert table().values("common")[row(fault.label), 0, at] == pytest.approx(wanted, rel=0.01, abs=1e-4)
    healthy = table().values("common")[0, :, at]
    assert healthy[0] < 1e-3
    assert 1e-3 < np.std(healthy[1:]) < 20e-3  # four resistors of 1 %


def test_it_names_the_four_resistors_where_levels_leave_the_unit_healthy(tmp_path: Path) -> None:
    """RF at 1.2 times its value, by the same equations: (1 + m) / 2 of 200 mV, 0.8 dB more, and 100 mV of 1 V."""
    off = LEVELS.replace("199 mV", "219 mV")
    plain, more = read(off, tmp_path), read(off + "U101 pin 1,common mode,100 mV rms,West\n", tmp_path)
    four = ("R101", "R102", "R103", "R104")
    assert share(plain, *four) < 0.5
    assert share(more, *four) > 0.8
    good = read(LEVELS + "U101 pin 1,common mode,5 mV rms,West\n", tmp_path)
    assert match(table(), good).healthy > match(table(), plain).healthy


def test_it_may_be_headed_as_the_trade_does_and_says_what_it_is_not(tmp_path: Path) -> None:
    assert read("U101 pin 1,both legs,3 mV rms,West\n", tmp_path).rows[0].quantity == "common mode"
    assert read("U101 pin 1,common mode,nothing,West\n", tmp_path).rows[0].word == "nothing"
    with pytest.raises(UserError, match="can't be said of common mode"):
        read("U101 pin 1,common mode,clipped,West\n", tmp_path)


def test_the_sheet_and_the_next_reading_have_it(tmp_path: Path) -> None:
    text = " ".join(sheet_text(sheet(table())).split())
    assert "Common mode" in text
    assert "1 V rms at 1 kHz" in text
    found = candidates(table(), read(LEVELS, tmp_path), instruments(None), ["West"])
    assert "common mode" in {each.reading.quantity for each in found}
    taken = read(LEVELS + "U101 pin 1,common mode,5 mV rms,West\n", tmp_path)
    later = candidates(table(), taken, instruments(None), ["West"])
    assert ("U1 pin 1", "common mode") not in {(each.reading.point, each.reading.quantity) for each in later}
