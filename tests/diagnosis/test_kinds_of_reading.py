"""One likelihood for every kind of reading: pairs, currents, mains watts, signs, limits, meters and their loading."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lostgain.diagnosis.features import CURRENT, DC, Feature, feature_of, predicted, unscaled
from lostgain.problems import UserError
from lostgain.readings.instruments import instruments
from lostgain.readings.model import Reading
from tests.diagnosis.megaphone import ask, dc, level, megaphone, probability, row_of, word


def number(feature: Feature, row: int = 0) -> float:
    """What an instrument shows, at nominal values."""
    return unscaled(float(predicted(megaphone(), [feature])[row, 0, 0]), feature)


def across(point: str, against: str, **more: object) -> Feature:
    reading = replace(level(point, 0.1), against=against, **more)  # type: ignore[arg-type]
    found = feature_of(reading, megaphone(), instruments()[reading.instrument])
    assert found is not None
    return found


def test_level_across_a_pair_is_the_difference_of_phasors() -> None:
    """Across R5, first stage to virtual ground: that stage's output. From input to inverted output: the sum."""
    table = megaphone()
    level_at = dict(zip(table.points, table.values("level")[0, 0, :, 0], strict=True))
    assert number(across("U1 pin 1", "U1 pin 6")) == pytest.approx(level_at["U1 pin 1"], rel=0.01)
    assert number(across("U1 pin 7", "U1 pin 1")) == pytest.approx(
        level_at["U1 pin 7"] + level_at["U1 pin 1"], rel=0.01
    )


def test_dc_across_a_pair_is_the_difference() -> None:
    row = row_of("VP missing 4.7e+03")
    table = megaphone()
    one, other = table.points.index("U1 pin 7"), table.points.index("U1 pin 1")
    feature = across("U1 pin 7", "U1 pin 1", quantity="dc", instrument="dmm-trms")
    wanted = table.values("dc")[row, 0, one] - table.values("dc")[row, 0, other]
    assert number(feature, row) == pytest.approx(wanted, abs=0.02)


def test_a_reading_across_a_resistor_tells_its_current() -> None:
    """Nothing across R5 while the stage before has signal: no current, so R6's side or R5 itself is whole but idle."""
    pair = replace(level("U1 pin 1", 0.55), against="U1 pin 6", text="0.55 V rms")
    good = ask(level("U1 pin 1", 0.55), pair)
    lost = ask(level("U1 pin 1", 0.55), replace(pair, value=None, word="nothing"))
    assert good.healthy > 0.1
    assert probability(lost, "R6") + probability(lost, "U1B") + probability(lost, "R5", "short") > 0.9


def test_rail_current_and_mains_watts() -> None:
    amperes = number(Feature(0, CURRENT))
    normal = Reading("VP", "current", "", amperes, instrument="dmm-trms", text="7 mA")
    assert ask(level("J1 tip", 0.0993), normal).healthy > 0.1
    lost = replace(normal, value=number(Feature(0, CURRENT), row_of("VP missing 4.7e+03")), text="0.6 mA")
    assert lost.value is not None
    assert lost.value < 0.8 * amperes
    dead = [level("J1 tip", 0.0993), word("U1 pin 7", "nothing")]
    assert probability(ask(*dead, lost), "VP") > 1.5 * probability(ask(*dead), "VP")
    watts = Reading("mains", "mains watts", "", 60.0, text="60 W")
    assert ask(level("J1 tip", 0.0993), watts).healthy < 0.01


@pytest.mark.parametrize(("quantity", "mode"), [("noise", "joint"), ("hum", "bottom-open"), ("oscillation", "esr")])
def test_a_sign_raises_the_modes_that_show_it(quantity: str, mode: str) -> None:
    rows = [level("J1 tip", 0.0993)]
    seen = Reading("", quantity, "Port", word="seen", text="seen")
    before, after = ask(*rows), ask(*rows, seen)
    not_seen = ask(*rows, replace(seen, word="not seen"))
    assert after.healthy < before.healthy < not_seen.healthy
    modes = {each.mode for each in before.suspects}
    if mode in modes:
        share = [sum(each.probability for each in verdict.suspects if each.mode == mode) for verdict in (before, after)]
        assert share[1] > share[0]


def test_more_than_an_instrument_can_show() -> None:
    """More than 5 V rms where 0.55 V is healthy."""
    beyond = replace(level("U1 pin 1", 5.0), above=True, text=">5 V rms")
    verdict = ask(level("R2, right end", 0.0993), beyond)
    assert verdict.healthy < 0.01
    assert {each.part for each in verdict.suspects[:4]} == {"R4", "R3"}


def test_an_average_responding_meter_shows_less_of_a_square_wave_than_true_rms_and_the_same_of_a_sine() -> None:
    """Form factor: a sine reads alike; a square wave of V volts reads 1.11 V on an average-responding meter.

    pi / (2 sqrt 2) = 1.1107: any textbook of electrical measurement; common practice.
    """
    table = megaphone()
    point = table.points.index("U1 pin 7")
    assert number(Feature(point, 0, average=True)) == pytest.approx(number(Feature(point, 0)), rel=0.003)
    clipped = row_of("R6 open")
    ratio = number(Feature(point, 0, average=True), clipped) / number(Feature(point, 0), clipped)
    assert 1.02 < ratio < 1.111


def test_a_meter_loads_a_floating_node() -> None:
    """With R1 open the node behind C1 hangs on the op-amp's bias current; 10 MΩ of a multimeter hold it."""
    table = megaphone()
    row = row_of("R1 open")
    point = table.points.index("R2, left end")
    free, loaded = number(Feature(point, DC), row), number(Feature(point, DC, ohms=10e6), row)
    assert abs(free) > 0.5
    assert abs(loaded) < 0.5 * abs(free)


def test_outside_its_band_a_meter_says_less() -> None:
    """2 dB low at 10 kHz on an average-responding meter, good to 1 kHz, is no reason to doubt the unit."""
    volts = float(megaphone().values("level")[0, 0, megaphone().points.index("U1 pin 7"), 2])
    low = level("U1 pin 7", volts * 0.75, frequency=10e3)
    assert ask(replace(low, instrument="dmm-average")).healthy > 2 * ask(low).healthy


def test_what_channels_share_is_lost_where_the_fault_changes_the_level() -> None:
    from lostgain.diagnosis.common import Common

    common = Common(np.zeros((2, 2)), np.array([[0.0, 1.0], [1.0, 0.0]]), np.array([6.0, 6.0]))
    healthy = np.array([0.0, 0.0])
    same = common.shared(np.array([[0.0, 0.0]]), healthy)[0, 0, 1]
    far = common.shared(np.array([[-40.0, 0.0]]), healthy)[0, 0, 1]
    assert same == 1
    assert far < 0.01


def test_an_intermittent_unit_is_its_own_good_channel_while_it_works() -> None:
    working = [level("U1 pin 1", 0.55, "Port (working)"), level("J1 tip", 0.0993, "Port (working)")]
    faulty = [level("J1 tip", 0.0993), level("U1 pin 1", 0.1), dc("U1 pin 1", 0.0)]
    verdict = ask(*faulty, *working, good="Port (working)")
    assert verdict.suspects[0].channel == "Port"
    assert verdict.suspects[0].part in ("C3", "R3", "R4")


def test_a_rails_current_alone_asks_about_every_channel() -> None:
    """Nobody has to read a channel first: a rail that gives no current is the first thing a bench notices."""
    lost = Reading("VP", "current", "", 0.6e-3, instrument="dmm-trms", text="0.6 mA")
    verdict = ask(lost)
    assert verdict.suspects[0].part in ("VP", "F1")
    assert sum(each.probability for each in verdict.suspects) <= 1 + 1e-9
    watts = ask(Reading("mains", "mains watts", "", 3.0, text="3 W"))
    assert watts.suspects


def test_a_channel_that_the_unit_does_not_have_is_named() -> None:
    with pytest.raises(UserError, match=r"'Prot' is no channel of .*\. Did you mean Port\?"):
        ask(dc("TP1", 0.0, channel="Prot"))
