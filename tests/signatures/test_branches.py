"""A unit that branches: gains and sentences follow the way the signal takes, not the order of the file."""

from __future__ import annotations

import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.faults import parse
from lostgain.signatures import predict
from lostgain.signatures.gains import stage_gains
from lostgain.signatures.sentences import sentences
from lostgain.unit import open_unit
from lostgain.unit.branches import behind, output_stages, sources

TWO_WAYS = """
[unit]
title = "Two ways"
invented = true
[setup]
generator = "1 V rms"
source = "0R001"
frequencies = ["500 Hz"]
load = "1k"
[[stage]]
name = "First"
use = "contact"
K = "J1"
[stage.points]
in = "Input"
out = "Split"
[[stage]]
name = "Low way"
use = "mute"
RS = "R1 1k"
K = "K1"
[stage.points]
out = "Low"
[[stage]]
name = "High way"
use = "mute"
from = "First"
RS = "R2 3k"
K = "K2"
[stage.points]
out = "High"
"""


@pytest.fixture(scope="module")
def circuit(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    folder = tmp_path_factory.mktemp("two-ways")
    (folder / "unit.toml").write_text(TWO_WAYS, encoding="utf-8")
    return build(open_unit(folder), pool)


def test_where_the_signal_comes_from_and_goes(circuit: Circuit) -> None:
    stages = circuit.unit.stages
    assert sources(stages) == {"First": ("", ""), "Low way": ("First", "out"), "High way": ("First", "out")}
    assert output_stages(stages) == ("Low way", "High way")
    assert behind(stages, "First") == {"Low way", "High way"}
    assert behind(stages, "Low way") == set()


def test_gains_are_taken_along_each_way(circuit: Circuit, pool: Pool) -> None:
    found = predict(circuit, [parse("R2 drift 3", circuit)], pool)
    gains = {each.stage: (each.first, each.last, each.gain[0]) for each in stage_gains(circuit, found.healthy)}
    assert gains["Low way"][:2] == ("Split", "Low")
    assert gains["High way"][:2] == ("Split", "High")
    assert gains["Low way"][2] == pytest.approx(0.5, rel=1e-3)
    assert gains["High way"][2] == pytest.approx(0.25, rel=1e-3)


def test_a_fault_of_one_way_is_told_with_the_point_ahead_of_it(circuit: Circuit, pool: Pool) -> None:
    said = sentences(predict(circuit, [parse("R2 open", circuit)], pool))[0]
    assert "whole at Split" in said
    assert "High" in said
    assert "Low" not in said
