"""A verdict in the terminal: every suspect that is named is one that is listed."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from lostgain.diagnosis import Group, Limits, Tried
from lostgain.report.text_match import LEAST, LISTED, verdict_text
from tests.report.records import circuit, readings, verdict


def look_alikes(text: str) -> str:
    return " ".join(text.partition("cannot tell them apart\n")[2].partition("\n\n")[0].split())


def listed(text: str) -> list[str]:
    suspects = text.partition("given these readings\n")[2].partition("\n\n")[0]
    return re.findall(r"^ +\d+\. +\S+ %  (\S+ \S+) \(", suspects, re.MULTILINE)


@pytest.mark.parametrize("count", [2, 4, 7, 8, 30])
def test_look_alikes_are_listed_or_counted(count: int) -> None:
    found = verdict(count)
    text = verdict_text(found, circuit().unit, readings())
    leading = [each for each in found.suspects[:LISTED] if each.probability >= LEAST]
    assert listed(text) == [f"{each.part} lost" for each in leading]
    named = re.findall(r"C\d+ lost", look_alikes(text))
    assert named
    assert set(named) <= set(listed(text))
    cut = len(leading) % 2 == 1 and len(leading) < count  # two to a group: an odd one's look-alike is not listed
    assert ("and 1 more that is not listed above" in look_alikes(text)) == cut


def test_a_group_of_many_names_all_that_are_listed() -> None:
    found = verdict(10)
    names = tuple(f"{each.part} lost" for each in found.suspects)
    suspects = tuple(type(each)(**{**each.__dict__, "group": 1}) for each in found.suspects)
    one = type(found)(**{**found.__dict__, "suspects": suspects, "groups": (Group(1, names, 0.94),)})
    text = verdict_text(one, circuit().unit, readings())
    shown = listed(text)
    assert 2 < len(shown) < 10
    assert look_alikes(text).endswith(f"{shown[-1]} and {10 - len(shown)} more that are not listed above")


def test_parts_are_listed_as_people_count() -> None:
    names = ("C10 open", "C2 short", "R1 open", "C2 open")
    text = verdict_text(verdict(2), circuit().unit, readings(), Limits((), names))
    assert "faults of C2, C10, R1." in " ".join(text.split())


def test_the_only_channel_has_no_name() -> None:
    found = verdict(3)
    first = replace(found.suspects[0], channel="main")
    text = verdict_text(replace(found, suspects=(first, *found.suspects[1:])), circuit().unit, readings())
    assert f"{first.part} lost ({first.stage})" in text
    assert f"({found.suspects[1].stage}, {found.suspects[1].channel})" in text
    assert "main" not in text


def test_pairs_that_there_was_no_time_for_are_told_with_the_time() -> None:
    some = " ".join(verdict_text(verdict(2), circuit().unit, readings(), None, Tried((), 60, 88, 20.0)).split())
    assert "60 of 88 pairs tried in the 20 s that there are for it" in some
    every = " ".join(verdict_text(verdict(2), circuit().unit, readings(), None, Tried((), 88, 88, 20.0)).split())
    assert "88 of 88 pairs tried, at the table's" in every
