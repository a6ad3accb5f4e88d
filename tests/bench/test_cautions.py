from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.bench.cautions import (
    Caution,
    cautions,
    discharge_time,
    discharging_resistor,
    load_watts,
    show_time,
    stored_energy,
)
from lostgain.unit import open_unit
from lostgain.unit.load import Load
from lostgain.unit.model import Reservoir, Unit
from lostgain.unit.setup_model import Setup
from tests.bench.build import UNITS


@pytest.fixture(scope="module")
def chain() -> Unit:
    return open_unit(UNITS / "chain")


def about(topic: str, found: list[Caution]) -> str:
    return " ".join(caution.text for caution in found if caution.topic == topic)


def test_stored_energy() -> None:
    # ½CV², Horowitz and Hill, The Art of Electronics, 3rd ed., section 1.4: 4700 µF at 28 V
    assert stored_energy(4700e-6, 28.0) == pytest.approx(1.8424)


def test_discharge_time() -> None:
    # RC ln(V/V1), the same, section 1.4.2: 2.2 kΩ and 4700 µF are 10.34 s; e times the safe voltage takes one of them
    assert discharge_time(4700e-6, 2200.0, math.e) == pytest.approx(10.34)
    assert discharge_time(4700e-6, 2200.0, -28.0) == pytest.approx(10.34 * math.log(28))
    assert discharge_time(4700e-6, 2200.0, 0.5) == 0.0


@given(st.floats(1e-6, 1e-1), st.floats(1.0, 1e6), st.floats(1.1, 500.0))
def test_the_voltage_left_after_that_time_is_the_safe_one(farads: float, ohms: float, volts: float) -> None:
    left = volts * math.exp(-discharge_time(farads, ohms, volts) / (ohms * farads))
    assert left == pytest.approx(1.0, rel=1e-6)


def test_load_watts() -> None:
    assert load_watts(20.0, 8.0) == 50.0  # V²/R: any circuit textbook, such as the one above, section 1.2.2


@given(st.floats(0.0, 1000.0))
def test_discharging_resistor_starts_below_the_current_aimed_at(volts: float) -> None:
    assert volts / discharging_resistor(volts) <= 0.2 * (1 + 1e-6)


@pytest.mark.parametrize(
    ("seconds", "said"), [(0.01, "0.1 s"), (3.41, "3.5 s"), (28.1, "29 s"), (130.0, "3 min"), (7300.0, "3 h")]
)
def test_a_time_is_rounded_up(seconds: float, said: str) -> None:
    assert show_time(seconds) == said


def test_reservoir_figures_are_in_the_text(chain: Unit) -> None:
    text = about("Stored energy", cautions(chain))
    # C301: 2200 µF, 15 V: 247.5 mJ; with 4.7 kΩ 10.34 s · ln 15 = 28.0 s
    for figure in ("C301", "2200 µF", "15 V", "248 mJ", "4.7 kΩ", "29 s", "bleeder is whole", "then measure"):
        assert figure in text, figure


def test_without_a_bleeder_no_time_is_promised(chain: Unit) -> None:
    bare = replace(chain, reservoirs=(Reservoir("C1", 1e-3, 300.0),))
    text = about("Stored energy", cautions(bare))
    assert "Nothing discharges it" in text
    assert "bleeder is whole" not in text


def test_alike_reservoirs_are_told_together(chain: Unit) -> None:
    pair = replace(chain, reservoirs=(Reservoir("C1", 1e-3, 28.0, 2200.0), Reservoir("C2", 1e-3, -28.0, 2200.0)))
    assert about("Stored energy", cautions(pair)).startswith("C1 and C2, each ")


def loaded(chain: Unit, rating: float | None) -> Unit:
    return replace(chain, output_stage=True, setup=Setup(0.2, load=Load("8 Ω", 8.0), load_rating=rating))


def test_dummy_load_against_its_rating(chain: Unit) -> None:
    fits = about("Dummy load", cautions(loaded(chain, 100.0), 20.0))
    assert "50 W in the load of 8 Ω, 50 % of its 100 W" in fits
    too_much = about("Dummy load", cautions(loaded(chain, 30.0), 20.0))
    assert "MORE THAN ITS RATING of 30 W" in too_much


def test_dummy_load_at_a_further_level_of_the_generator(chain: Unit) -> None:
    def said(rating: float, level: float) -> str:
        unit = loaded(chain, rating)
        return about("Dummy load", cautions(replace(unit, setup=replace(unit.setup, levels=(level,))), 20.0))

    # 20 V in 8 Ω is 50 W; at twice the level four times as much
    assert "With the generator at 400 mV rms, a further level of this set-up, it may take 200 W." in said(300.0, 0.4)
    assert "it may take 200 W, MORE THAN ITS RATING of 100 W" in said(100.0, 0.4)
    assert "further level" not in said(100.0, 0.1)


def test_dummy_load_before_anything_is_simulated(chain: Unit) -> None:
    # √(50 W · 8 Ω) = 20 V rms
    assert "no more than 20 V rms" in about("Dummy load", cautions(loaded(chain, 50.0)))
    assert "load_rating" in about("Dummy load", cautions(loaded(chain, None)))


def test_an_output_stage_asks_for_lamp_limiter_and_no_loudspeaker(chain: Unit) -> None:
    topics = [caution.topic for caution in cautions(replace(chain, output_stage=True))]
    assert topics.index("Lamp limiter") < topics.index("No loudspeaker yet")
    quiet = {caution.topic for caution in cautions(chain)}
    assert not quiet & {"Lamp limiter", "No loudspeaker yet", "Dummy load"}


def test_a_rail_at_the_output_in_watts(chain: Unit) -> None:
    # 15 V into 8 Ω: 28.1 W; bridged, twice the voltage: 112.5 W
    assert "15 V across 8 Ω is 28 W" in about("No loudspeaker yet", cautions(loaded(chain, 50.0)))
    bridged = replace(loaded(chain, 50.0), bridged=True)
    assert "30 V across 8 Ω is 110 W" in about("No loudspeaker yet", cautions(bridged))
    assert "Neither output terminal is ground" in about("Bridged outputs", cautions(bridged))


def test_a_circuit_on_the_mains_asks_for_an_isolating_transformer(chain: Unit) -> None:
    text = about("Circuit referenced to the mains", cautions(replace(chain, isolated=False)))
    assert "isolating transformer" in text
    assert "Never lift" in text
    assert not about("Circuit referenced to the mains", cautions(chain))


def test_fuses_and_own_words(chain: Unit) -> None:
    found = cautions(replace(chain, cautions=("The lid is heavy {really}.",)))
    assert "F1 500 mA" in about("Fuses", found)
    assert about("From the unit file", found) == "The lid is heavy {really}."


def test_a_battery_unit_has_no_mains_caution() -> None:
    topics = {caution.topic for caution in cautions(open_unit(UNITS / "mixed"))}
    assert not topics & {"Mains", "Fuses", "Stored energy"}
    assert "Local rules first" in topics


@pytest.mark.parametrize("bridged", [True, False])
@pytest.mark.parametrize("isolated", [True, False])
def test_every_caution_is_filled_in(chain: Unit, bridged: bool, isolated: bool) -> None:
    unit = replace(loaded(chain, 50.0), bridged=bridged, isolated=isolated)
    for caution in cautions(unit, 7.9):
        assert "{" not in caution.text + caution.topic
        assert caution.severity in ("danger", "damage", "note")
        assert caution.when in ("before", "off", "limiter", "signal")
