"""An intermittent unit while it works is its own good channel."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lostgain.problems import UserError
from lostgain.readings import Readings, with_reference
from tests.readings.example import TWO_ZONES
from tests.readings.test_read import refused, taken

HEAD = "point,quantity,value,channel,instrument"


def state(name: str, *lines: str) -> Readings:
    """Return the readings of one state."""
    return taken("\n".join([f"# state: {name}", HEAD, *lines, ""]), TWO_ZONES)


FAULTY = state("faulty", "TP4,level,0.2 Vpp,Zone B,", "TP4,dc,10 mV,Zone B,dmm", ",hum,seen,Zone B,", "VPP,,90 mA,,")
WORKING = state("Working.", "TP4,level,1.2 Vpp,Zone B,", "U2 pin 1,,can't reach,,", "VPP,,80 mA,,")


def test_the_state_of_a_file() -> None:
    assert (FAULTY.state, WORKING.state) == ("faulty", "working")
    assert taken("point,value\nTP4,1 Vpp\n").state == ""
    assert "no state 'sulking'" in refused("# state: sulking\npoint,value\nTP4,1 Vpp\n")
    assert "Did you mean '# state:'" in refused("# staet: faulty\npoint,value\nTP4,1 Vpp\n")


def test_the_working_state_is_the_good_channel() -> None:
    both = with_reference(FAULTY, WORKING)
    assert both.good == "Zone B (working)"
    assert both.good not in [channel.name for channel in TWO_ZONES.channels]
    assert both.rows[: len(FAULTY.rows)] == FAULTY.rows
    (reference,) = both.rows[len(FAULTY.rows) :]  # the current of the working state is no channel's
    assert reference == replace(WORKING.rows[0], channel="Zone B (working)")
    assert both.unreachable == (("U2 pin 1", ""),)
    assert both.state == ""


@pytest.mark.parametrize(
    ("faulty", "working", "message"),
    [
        (WORKING, WORKING, "the unit was working; readings while it was faulty are wanted"),
        (FAULTY, FAULTY, "the unit was faulty; readings while it was working are wanted"),
        (FAULTY, state("working", "TP4,level,1.2 Vpp,Zone A,"), "are of Zone A, those of the faulty state of Zone B"),
        (FAULTY, state("working", "TP4,,1 Vpp,Zone A,", "TP4,,1 Vpp,Zone B,"), "are of Zone A and Zone B"),
        (FAULTY, state("working", "VPP,,80 mA,,"), "hold no level and no dc"),
        (FAULTY, state("working", "TP4,level,ok,Zone B,"), "the working state is what the faulty one is compared with"),
    ],
)
def test_states_that_do_not_go_together(faulty: Readings, working: Readings, message: str) -> None:
    with pytest.raises(UserError, match=message):
        with_reference(faulty, working)


def test_which_channel_is_the_good_one_is_not_asked_of_a_unit_that_worked_itself() -> None:
    unsure = replace(FAULTY, warnings=("a.csv:4: 'same as good': Zone A is taken as the good channel.", "another"))
    assert with_reference(unsure, WORKING).warnings == ("another",)
