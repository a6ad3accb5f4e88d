"""Records for other programs: what is no number is None, so that the JSON is JSON."""

from __future__ import annotations

import json
import math

from lostgain.diagnosis.model import Group, Suspect, Verdict
from lostgain.faults import Fault
from lostgain.report.records import verdict_record
from lostgain.report.shares import percent
from lostgain.report.text_match import speaks


def test_what_is_no_number_is_null() -> None:
    suspect = Suspect("R1", "drift", math.nan, None, "R1 …", "Input", "main", 0.5, 0.1, 1, Fault("R1", "drift", 2.0))
    verdict = Verdict((suspect,), math.nan, 0.5, (Group(1, ("R1 drift",), 0.5),), ("read this",), "key", "bench", 3)
    found = json.loads(json.dumps(verdict_record(verdict), allow_nan=False))
    assert found["suspects"][0]["severity"] is None
    assert found["healthy"] is None
    assert found["groups"] == [{"group": 1, "suspects": ["R1 drift"], "probability": 0.5}]


def test_a_probability_is_never_shown_as_certain() -> None:
    assert [percent(share) for share in (1.0, 0.995, 0.91, 0.1, 0.0123, 0.0)] == [
        ">99 %", ">99 %", "91 %", "10 %", "1.2 %", "<0.1 %"
    ]  # fmt: skip


def test_what_a_reading_says() -> None:
    assert speaks(math.log(20)) == "for, ×20"
    assert speaks(-math.log(20)) == "against, ×20"
    assert speaks(math.log(1.5)) == "—"
    assert speaks(math.log(514)) == "for, ×510"
    assert speaks(1e9) == "for, >×1000"
