"""An offset is noticed where DC is the healthy unit's otherwise; a fault that moves DC is allowed its model's error."""

from __future__ import annotations

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.common import dc_volts
from lostgain.diagnosis.features import DC, Feature
from lostgain.diagnosis.hypotheses import hypotheses
from tests.diagnosis.megaphone import megaphone

OUTPUT = "U1 pin 1"


def test_healthy_dc_is_known_as_well_as_one_device_from_another() -> None:
    """An op-amp's output is known to some millivolts, and never worse than `dc_volts` says."""
    table = megaphone()
    known = dc_volts(table, Feature(table.points.index(OUTPUT), DC), allowances())
    assert 1e-3 <= known < 0.6 * allowances().model_dc_volts


def test_a_fault_that_moves_dc_is_allowed_more() -> None:
    table = megaphone()
    feature = Feature(table.points.index(OUTPUT), DC)
    found = hypotheses(table, [feature])
    rows = {fault.label: number for number, fault in enumerate(table.faults, 1)}
    spread = found.rows.cov[:, 0, 0] ** 0.5
    scale = 1 / feature.unit_size
    more = (allowances().model_dc_volts ** 2 - dc_volts(table, feature, allowances()) ** 2) ** 0.5
    stuck = next(number for label, number in rows.items() if label == "U1A stuck-high")
    assert spread[stuck] >= 0.9 * more * scale
    assert spread[0] < 0.9 * more * scale
