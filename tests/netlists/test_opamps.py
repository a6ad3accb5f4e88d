"""Which pin of an op-amp's model is which: by names, by supply, by what feeds back."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.netlists.deck import Subckt
from lostgain.netlists.model import Card, Piece
from lostgain.netlists.opamps import looks_like_one, pins_of
from lostgain.problems import Where

RAILS = {"vcc": 15.0, "vee": -15.0}


def model(*ports: str, name: str = "amp1") -> Subckt:
    return Subckt(name, ports, {}, [Card("e1 9 0 1 2 1e5", Where())], Where(Path("x"), 1), True)


def around(out: str, inn: str) -> list[Piece]:
    return [Piece("R1", [out, inn], "10k", Where()), Piece("R2", [inn, "0"], "1k", Where())]


@pytest.mark.parametrize(
    ("ports", "pins"),
    [
        (("in+", "in-", "vcc", "vee", "out"), ("inp", "inn", "vp", "vn", "out")),
        (("inn", "inp", "out", "v+", "v-"), ("inn", "inp", "out", "vp", "vn")),
        (("plus", "minus", "output"), ("inp", "inn", "out")),
        (("out", "vss", "vdd", "inm", "inp"), ("out", "vn", "vp", "inn", "inp")),
    ],
)
def test_names_tell(ports: tuple[str, ...], pins: tuple[str, ...]) -> None:
    piece = Piece("XU1", [f"n{number}" for number in range(len(ports))], "amp1", Where())
    found = pins_of(piece, model(*ports), RAILS, [])
    assert found is not None
    assert found[:2] == (pins, "sure")


def test_numbers_go_by_supply_and_feedback() -> None:
    piece = Piece("XU1", ["a", "b", "vcc", "vee", "c"], "amp1", Where())
    found = pins_of(piece, model("1", "2", "3", "4", "5"), RAILS, around("c", "b"))
    assert found is not None
    assert found[:2] == (("inp", "inn", "vp", "vn", "out"), "likely")


def test_another_order_goes_by_what_feeds_back_and_is_doubtful() -> None:
    piece = Piece("XU1", ["c", "vee", "b", "a", "vcc"], "amp1", Where())
    found = pins_of(piece, model("1", "2", "3", "4", "5"), RAILS, around("c", "b"))
    assert found is not None
    pins, sure, _ = found
    assert dict(zip(pins, piece.nodes, strict=True)) == {"inp": "a", "inn": "b", "vp": "vcc", "vn": "vee", "out": "c"}
    assert sure == "doubtful"


def test_eight_pins_as_on_the_package() -> None:
    # pinning of single op-amps in an eight-pin package: common practice, no source
    piece = Piece("XU1", ["x", "b", "a", "vee", "y", "c", "vcc", "z"], "amp1", Where())
    found = pins_of(piece, model(*"12345678"), RAILS, [])
    assert found is not None
    nodes = dict(zip(found[0], piece.nodes, strict=True))
    assert (nodes["inp"], nodes["inn"], nodes["out"]) == ("a", "b", "c")


def test_without_supply_no_pin_can_be_told_of_five() -> None:
    piece = Piece("XU1", ["a", "b", "c", "d", "e"], "amp1", Where())
    assert pins_of(piece, model("1", "2", "3", "4", "5"), {}, []) is None


def test_what_looks_like_one() -> None:
    assert looks_like_one(model("1", "2", "3", "4", "5"))
    assert looks_like_one(model("a", "b", "c", name="opamp_ideal"))
    assert not looks_like_one(model("a", "b", name="opamp_ideal"))
    assert not looks_like_one(model("a", "b", "c", name="relay"))
