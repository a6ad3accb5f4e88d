"""What devices of another gain make of levels: much where nothing holds a stage, little in a loop."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.common import _devices, common_allowance
from lostgain.diagnosis.features import Feature
from lostgain.faults import Fault
from lostgain.signatures import Table
from tests.diagnosis.megaphone import megaphone

OPEN_LOOP = 100.0
LEVEL = Feature(0, 0, floor=1e-9)


def amplifier(feedback: float, left: float) -> Table:
    """What `_devices` asks of the table of one amplifier, whose device has so much of its gain left in one row."""
    levels = [_closed(OPEN_LOOP, feedback), _closed(OPEN_LOOP * left, feedback)]
    phasors = np.array(levels, dtype=complex).reshape(2, 1, 1, 1)
    fault = Fault("Q1", "low-gain", left, "Amplifier", (), False)
    return cast(Table, SimpleNamespace(faults=(fault,), complex_values=lambda quantity: phasors))


def _closed(gain: float, feedback: float) -> float:
    """Gain with feedback, A / (1 + Ab): any textbook; H. S. Black, Bell Syst. Tech. J. 13 (1934) 1, from memory."""
    return gain / (1 + gain * feedback)


@pytest.mark.parametrize("feedback", [0.03, 0.1, 0.5])
@pytest.mark.parametrize("left", [0.2, 0.5])
def test_in_a_loop_it_is_what_the_loop_leaves_of_it(feedback: float, left: float) -> None:
    allow = allowances()
    weaker = OPEN_LOOP / (1 + allow.model_device_gain)
    exact = 20 * np.log10(_closed(OPEN_LOOP, feedback) / _closed(weaker, feedback))
    wanted = min(exact, allow.model_device_db)
    assert _devices(amplifier(feedback, left), [LEVEL], allow)[0] == pytest.approx(wanted, rel=0.3)


def test_nothing_holds_it_it_is_as_much_as_is_ever_allowed() -> None:
    assert _devices(amplifier(0.0, 0.2), [LEVEL], allowances())[0] == allowances().model_device_db


def test_what_lies_before_every_device_is_as_sure_as_its_description() -> None:
    """At the megaphone's input no device has a say; each level may be off by what the description may, and no more."""
    table, allow = megaphone(), allowances()
    features = [Feature(table.points.index(name), 0, floor=1e-3) for name in ("J1 tip", "U1 pin 1")]
    assert _devices(table, features, allow)[0] == pytest.approx(0.0, abs=0.01)
    found = common_allowance(table, [("A", feature) for feature in features])
    first = found.always[0, 0] - allow.generator_level_db**2
    assert first == pytest.approx(allow.model_level_point_db**2 + allow.model_level_each_db**2, rel=0.01)


def test_it_is_allowed_for_beside_what_the_description_may_be_off_by() -> None:
    table, allow = megaphone(), allowances()
    feature = Feature(table.points.index("U1 pin 6"), 0, floor=1e-3)
    off = _devices(table, [feature], allow)[0]
    assert off > 0.01
    found = common_allowance(table, [("A", feature)]).always[0, 0] - allow.generator_level_db**2
    assert found - allow.model_level_point_db**2 - allow.model_level_each_db**2 == pytest.approx(off**2, rel=1e-6)
