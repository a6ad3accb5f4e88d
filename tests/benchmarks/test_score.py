"""From answers to figures: rules of what is right, on answers made up for the purpose."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.accuracy import _plain
from benchmarks.answers import Answer
from benchmarks.score import FAILED, Scored, hits, scores
from benchmarks.text import table_text
from benchmarks.truth import Truth
from lostgain.diagnosis.doubts import none_explains
from lostgain.faults import Fault

STAGE = {"R1": "Input", "R2": "Input", "R3": "Output"}


def answer(
    healthy: float = 0.0, unexplained: float = 0.0, named: tuple[str, str] = ("R1", "open"), fit: float = 1.0,
    **parts: float,
) -> Answer:  # fmt: skip
    stages: dict[str, float] = {}
    for name, p in parts.items():
        stages[STAGE[name]] = stages.get(STAGE[name], 0.0) + p
    return Answer(
        parts, stages, healthy, unexplained, none_explains(unexplained, fit), named, (2.0, 4.0), faulty=healthy < 0.3
    )


def truth(part: str, mode: str = "open", severity: float | None = None) -> Truth:
    return Truth("fault", Fault(part, mode, severity, STAGE[part]), (STAGE[part],))


def test_part_and_stage_are_told_apart() -> None:
    """R3 is the likeliest part, the input the likelier stage: two parts of it share its probability."""
    both = [answer(R1=0.3, R2=0.3, R3=0.4)]
    assert hits(both, [truth("R1")], "stage_top1").all()
    assert not hits(both, [truth("R1")], "part_top1").any()
    assert hits(both, [truth("R1")], "part_top3").all()
    assert hits(both, [truth("R3")], "part_top1").all()


def scored(references: bool = False) -> Scored:
    truths = [truth("R1"), truth("R1", "drift", 3.0), truth("R1", "drift", 9.0), truth("R3")]
    truths += [Truth("healthy")] * 4 + [Truth("outsider", None, ("Output",))] * 2
    ours = [answer(R1=0.9, R3=0.1), *[answer(named=("R1", "drift"), R1=0.8, R3=0.2)] * 2, answer(R1=0.6, R3=0.4)]
    ours += [answer(0.4, R1=0.3, R3=0.3)] * 3 + [answer(0.001, R1=0.9, R3=0.0)]
    ours += [answer(0.0, 0.9, R1=0.1, R3=0.0), answer(R1=1.0, R3=0.0)]
    # the reference sees a mark in every fault and outsider, none in a healthy unit
    theirs = [answer(0.001, R1=0.9, R3=0.1)] * 4 + [answer(0.5, R1=0.3, R3=0.2)] * 4 + [answer(0.0, R1=0.5, R3=0.5)] * 2
    pair = {"gaussian": theirs} if references else {}
    return Scored("made-up", truths, ours, pair, pair, 0, [1.0, 2.0, 3.0], "key")


def test_figures_of_known_answers() -> None:
    found = scores([scored(references=True)])
    value = {key: each.value for key, each in found.items() if hasattr(each, "value")}
    assert value["part_top1"] == 0.75
    assert value["coverage90"] == 0.5
    assert value["false_alarm"] == 0.25
    assert value["match_ms"] == 2.0
    assert value["detected"] == 1.0
    assert value["outsider"] == 0.5
    assert found["optimal_ratio"]["part_top1"].value == 1.0
    assert found["reference_doubling"]["gaussian"]["part_top1"] == 0.0


def test_an_outsider_is_told_where_it_is_said_that_nothing_fits() -> None:
    """With most left to "something else", or where what fits best hardly ever reads so; of the table's own, too."""
    whole = scored(references=True)
    ours = [*whole.ours[:-1], answer(R1=1.0, R3=0.0, fit=1e-9)]
    found = scores([replace(whole, ours=ours)])
    assert (found["outsider"].value, found["called_unexplained"].value) == (1.0, 0.0)
    ours[0] = answer(R1=0.9, R3=0.1, fit=1e-9)
    assert scores([replace(whole, ours=ours)])["called_unexplained"].value == 0.25


def test_kinds_weigh_as_in_the_stated_mix() -> None:
    """Whatever the number simulated, healthy units are a tenth and outsiders a fiftieth of what is calibrated."""
    rows = np.array(scores([scored()])["calibration"])
    assert rows[:, 2].sum() == pytest.approx(1.0)
    said = 0.88 * np.mean([0.9, 0.8, 0.8, 0.6]) + 0.10 * np.mean([0.3, 0.3, 0.3, 0.9]) + 0.02 * np.mean([0.1, 1.0])
    assert rows[:, 0] @ rows[:, 2] == pytest.approx(said)


def test_either_of_two_bad_parts_is_rightly_named() -> None:
    """Else a suspect that is bad indeed would count as a probability that was wrong."""
    whole = scored()
    two = Truth("outsider", None, ("Input",), outside=(("R1", "", 3.0), ("R2", "", 0.2)))
    rows = np.array(scores([replace(whole, truths=[*whole.truths[:8], two, two])])["calibration"])
    before = np.array(scores([whole])["calibration"])
    assert (rows[:, 1] - before[:, 1]) @ rows[:, 2] == pytest.approx(0.02)


def test_table_and_json_say_the_same() -> None:
    figures = scores([scored(references=True)])
    text = table_text({"units": {"made-up": figures}, "over_all": figures})
    assert "0.750" in text
    assert "right part named first" in text
    assert "\nover all " not in text, "one unit is all there is"
    assert max(map(len, text.splitlines())) <= 80
    assert json.loads(json.dumps(_plain(figures)))["part_top1"]["value"] == 0.75


def test_a_match_that_failed_is_wrong_and_told() -> None:
    whole = scored()
    broken = Answer({FAILED: 1.0}, {FAILED: 1.0}, 0.0)
    failed = Scored("made-up", whole.truths, [broken, *whole.ours[1:]], {}, {}, 0, [1.0], "key")
    figures = scores([failed])
    assert figures["part_top1"].value == 0.5
    assert figures["match_failed"] == 1
    text = table_text({"units": {"made-up": figures}, "over_all": figures})
    assert "1 cases the match failed" in " ".join(text.split())


def test_good_channel_is_beside_the_same_cases_alone() -> None:
    whole = scored()
    pairs = [
        (truth("R1"), answer(R1=0.9, R3=0.1), answer(R1=0.4, R3=0.6)),
        (truth("R3"), *[answer(R1=0.4, R3=0.6)] * 2),
    ]
    figures = scores([replace(whole, paired=pairs)])["with_good_channel"]
    assert (figures["part_top1"].value, figures["alone"]["part_top1"].value) == (1.0, 0.5)
    assert figures["log_loss"].value < figures["alone"]["log_loss"].value
