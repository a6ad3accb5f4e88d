"""Parts as printed on a schematic."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.unit.parttext import PartFault, PartText, read_part

#: What each text must be read as: the grammar of docs/unit-file.md.
#: Values follow IEC 60062 (from memory, to be verified).
READ = {
    "R14 22k 1%": PartText("R14", "resistor", 22e3, (-0.01, 0.01)),
    "r14 22k": PartText("R14", "resistor", 22e3),
    "R1 R22 1/4W": PartText("R1", "resistor", 0.22, rating=0.25),
    "R1 22 kΩ ± 5 % 500mW": PartText("R1", "resistor", 22e3, (-0.05, 0.05), 0.5),
    "C9 47u 16V": PartText("C9", "electrolytic", 47e-6, rating=16.0),
    "C9 47 µF 16 V": PartText("C9", "electrolytic", 47e-6, rating=16.0),
    "C3 100n film": PartText("C3", "film", 100e-9),
    "C3 100n": PartText("C3", "film", 100e-9),
    "C3 1u": PartText("C3", "electrolytic", 1e-6),
    "C3 1n": PartText("C3", "film", 1e-9),
    "C3 820p": PartText("C3", "ceramic", 820e-12),
    "C5 -20/+50% 10u 63V": PartText("C5", "electrolytic", 10e-6, (-0.2, 0.5), 63.0),
    "C5 +50/-20% 10u": PartText("C5", "electrolytic", 10e-6, (-0.2, 0.5)),
    "C5 film 10u": PartText("C5", "film", 10e-6),
    "RV1 10k log": PartText("RV1", "potentiometer", 10e3, taper="audio"),
    "RV1 10k audio": PartText("RV1", "potentiometer", 10e3, taper="audio"),
    "RV1 10k": PartText("RV1", "potentiometer", 10e3, taper="linear"),
    "U2A opamp-jfet": PartText("U2A", "opamp", device="opamp-jfet"),
    "Q3 npn-small": PartText("Q3", "npn", device="npn-small"),
    "F1 3.15A": PartText("F1", "fuse", 3.15),
    "F1 T500mA": PartText("F1", "fuse", 0.5),
    "L1 10mH 10%": PartText("L1", "inductor", 10e-3, (-0.1, 0.1)),
    "J1": PartText("J1", "connector"),
    "K1 relay": PartText("K1", "relay"),
}

#: Text, word the message must name, and the guess it must make.
REFUSED = [
    (f"R1 22k 1{'0' * 400}W", "can't be", ""),
    ("", "designator", ""),
    ("22k", "22k", ""),
    ("R1;quit 22k", "R1;quit", ""),
    ("R14 22k 33k", "33k", ""),
    ("R14 22kk", "22kk", ""),
    ("R14 22k 1% 5%", "5%", ""),
    ("C3 100n fim", "fim", "film"),
    ("Q3 npn-smal", "npn-smal", "npn-small"),
    ("R14 22k 16V", "16V", ""),
    ("C9 47u 1W", "1W", ""),
    ("R14 22k log", "log", ""),
    ("R14 22k film", "film", ""),
    ("R14 22k 150/200%", "150/200%", ""),
    ("C5 10u -120/+50%", "-120/+50%", ""),
    ("U1 10k", "10k", ""),
    ("Q3", "Q3", "npn-small"),
    ("R14 -22k", "-22k", ""),
    ("C3 47k", "47k", ""),
    ("U1 opamp-jfet npn", "npn", ""),
    ("R1 1/0W", "1/0W", ""),
]


@pytest.mark.parametrize(("text", "expected"), READ.items())
def test_a_part_is_read_as_it_is_printed(text: str, expected: PartText) -> None:
    found = read_part(text)
    assert found.designator == expected.designator
    assert (found.kind, found.rating, found.device, found.taper) == (
        expected.kind,
        expected.rating,
        expected.device,
        expected.taper,
    )
    assert found.value == (None if expected.value is None else pytest.approx(expected.value, rel=1e-12))
    assert found.tolerance == (None if expected.tolerance is None else pytest.approx(expected.tolerance))


@pytest.mark.parametrize(("text", "word", "guess"), REFUSED)
def test_a_slip_is_named_with_the_likely_meaning(text: str, word: str, guess: str) -> None:
    role = "resistor" if text.startswith("R14") else ""
    with pytest.raises(PartFault) as raised:
        read_part(text, role)
    assert word in raised.value.message
    assert guess in raised.value.meant


def test_a_role_decides_where_the_letters_do_not() -> None:
    assert read_part("X9 22k", "resistor").kind == "resistor"
    assert read_part("VR1 10k", "potentiometer").kind == "potentiometer"
    with pytest.raises(PartFault, match="capacitor"):
        read_part("R9 22k resistor", "capacitor")


PIECES = st.permutations(["22u", "-20/+50%", "63 V", "tantalum"])


@given(PIECES, st.sampled_from(["C1", "c1"]), st.sampled_from([" ", "  ", "\t"]))
def test_the_order_behind_the_designator_is_free(pieces: list[str], designator: str, gap: str) -> None:
    found = read_part(gap.join([designator, *pieces]))
    assert found == PartText("C1", "tantalum", 22e-6, (-0.2, 0.5), 63.0)


@given(st.floats(1e-2, 9.99e8))
def test_a_value_survives_being_written(ohms: float) -> None:
    assert math.isclose(read_part(f"R1 {ohms:.6g}R".replace("e+", "E+")).value or 0.0, ohms, rel_tol=1e-5)


WORDS = st.sampled_from(
    ["R1", "C9", "22k", "1%", "±", "%", "/", "16V", "film", "log", "U2A", "opamp-jfet", "-", "0", "Ω", "`"]
)


@given(st.one_of(st.text(max_size=30), st.lists(WORDS, max_size=6).map(" ".join)))
def test_any_text_is_a_part_or_a_fault_of_the_users(text: str) -> None:
    try:
        found = read_part(text)
    except PartFault:
        return
    assert found.designator.isascii()
    assert found.designator.replace("_", "").isalnum()
