"""What must hold for any verdict, and the pieces it is made of."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lostgain import UserError, match
from lostgain.diagnosis import Verdict, known, limits, unexplained_alone
from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.groups import overlap
from lostgain.diagnosis.knowledge import facts
from lostgain.diagnosis.likelihood import gaussian
from lostgain.diagnosis.severity import half_believed, quantiles
from lostgain.diagnosis.slips import SLIPS
from lostgain.faults import modes_for
from lostgain.readings.instruments import instruments
from lostgain.readings.model import UNITS, Reading
from lostgain.unit.kinds import kinds
from tests.diagnosis.megaphone import ask, dc, level, megaphone, probability, readings, taken, word

POINTS = ("J1 tip", "R2, left end", "R2, right end", "U1 pin 1", "U1 pin 6", "U1 pin 7")
some_readings = st.lists(
    st.one_of(
        st.builds(level, st.sampled_from(POINTS), st.floats(3e-3, 12), st.sampled_from(["Port", "Starboard"])),
        st.builds(dc, st.sampled_from(POINTS), st.floats(-15, 15), st.sampled_from(["Port", "Starboard"])),
        st.builds(word, st.sampled_from(POINTS), st.sampled_from(["nothing", "low", "clipped", "half missing"])),
    ),
    min_size=1,
    max_size=8,
)


def total(verdict: object) -> float:
    return sum(each.probability for each in verdict.suspects) + verdict.healthy + verdict.unexplained  # type: ignore[attr-defined]


@settings(max_examples=40)
@given(some_readings)
def test_probabilities_add_up_to_one(rows: list) -> None:  # type: ignore[type-arg]
    verdict = ask(*rows)
    assert total(verdict) == pytest.approx(1, abs=1e-9)
    assert all(0 <= each.probability <= 1 for each in verdict.suspects)


@settings(max_examples=20)
@given(some_readings, st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(rows: list, dice: object) -> None:  # type: ignore[type-arg]
    first = ask(*rows)
    shuffled = list(rows)
    dice.shuffle(shuffled)  # type: ignore[attr-defined]
    again = ask(*shuffled)
    assert again.healthy == pytest.approx(first.healthy, abs=1e-7)
    for each in first.suspects[:10]:
        assert probability(again, each.part, each.mode) == pytest.approx(
            probability(first, each.part, each.mode), abs=1e-7
        )


def test_a_fault_of_the_other_channel_is_placed_there() -> None:
    rows = taken("R4 drift 6", points=("J1 tip", "U1 pin 1"), channel="Starboard")
    verdict = ask(*rows, *taken("", points=("J1 tip", "U1 pin 1")), good="Port")
    first = verdict.suspects[0]
    assert first.channel == "Starboard"
    assert first.part in ("R104", "R103")


def test_severity_is_estimated() -> None:
    """R4 at 2.5 times its value: the range holds the truth and is narrower than the table's steps."""
    verdict = ask(*taken("R4 drift 2.5", draw=0))
    found = next(each for each in verdict.suspects if each.part == "R4" and each.mode == "drift")
    assert found.severity_range is not None
    low, high = found.severity_range
    assert low < 2.5 < high
    assert high / low < 2
    assert "instead of 10 kΩ" in found.severity_text


def test_a_missing_rail_is_named_once_for_all_channels() -> None:
    verdict = ask(*taken("VP missing 4.7e+03"), *taken("VP missing 4.7e+03", channel="Starboard"))
    assert verdict.suspects[0].part == "VP"
    assert verdict.suspects[0].channel == "all"


def test_look_alikes_share_a_group_and_others_do_not() -> None:
    verdict = ask(level("U1 pin 1", 0.55), word("U1 pin 7", "nothing"))
    by_name = {f"{each.part} {each.mode}": each for each in verdict.suspects if each.group}
    assert by_name["U1B stuck-high"].group == by_name["R5 open"].group
    assert sum(group.probability for group in verdict.groups) == pytest.approx(1, abs=0.15)


def test_readings_that_fit_nothing_are_called_unexplained() -> None:
    rows = [level("J1 tip", 0.0993), level("R2, left end", 1.7), level("R2, right end", 0.01), level("U1 pin 1", 3.0)]
    verdict = ask(*rows)
    assert verdict.unexplained > 0.5
    assert "explains these readings" in verdict.warnings[0]


def test_a_good_channel_that_does_not_fit_the_description_is_said_first() -> None:
    verdict = ask(level("U1 pin 1", 0.1), level("U1 pin 1", 2.5, "Starboard"), good="Starboard")
    assert "does not fit this unit" in verdict.warnings[0]
    assert "U101 pin 1 (Starboard)" in verdict.warnings[0]


def test_evidence_speaks_for_the_true_part() -> None:
    verdict = ask(*taken("C1 open"))
    first = verdict.suspects[0]
    assert (first.part, first.mode) == ("C1", "open")
    behind = next(each for each in first.evidence if each.reading.point == "R2, left end")
    assert behind.weight > 5
    assert abs(behind.off) < 3
    assert behind.low <= behind.predicted <= behind.high


def test_nothing_that_can_be_compared_is_an_error() -> None:
    with pytest.raises(UserError, match="no reading"):
        match(megaphone(), readings(level("U1 pin 1", 0.5, frequency=3333.0)))


def test_unknown_rates_are_an_error() -> None:
    with pytest.raises(UserError, match="failure rates"):
        match(megaphone(), readings(level("U1 pin 1", 0.5)), "handbok")


@pytest.mark.parametrize("other", [0.0, 0.5, 3.0])
def test_overlap_against_numerical_integration(other: float) -> None:
    """Bhattacharyya coefficient: the integral of the square root of the product of both densities."""
    grid = np.linspace(-20, 20, 40001)
    one = np.exp(-(grid**2) / 2) / math.sqrt(2 * math.pi)
    two = np.exp(-((grid - other) ** 2) / (2 * 4)) / math.sqrt(2 * math.pi * 4)
    wanted = np.trapezoid(np.sqrt(one * two), grid)
    found = overlap(np.array([0.0]), np.array([[1.0]]), np.array([other]), np.array([[4.0]]))
    assert found == pytest.approx(wanted, rel=1e-6)


def test_gaussian_against_scipy() -> None:
    """scipy.stats.multivariate_normal."""
    from scipy.stats import multivariate_normal

    rng = np.random.default_rng(1)
    root = rng.normal(size=(3, 4, 4))
    spread = root @ np.swapaxes(root, 1, 2) + np.eye(4)
    middle, value = rng.normal(size=(3, 4)), rng.normal(size=4)
    wanted = [multivariate_normal(middle[i], spread[i]).logpdf(value) for i in range(3)]
    assert gaussian(value, middle, spread) == pytest.approx(wanted, rel=1e-6)


def test_quantiles_of_an_even_spread() -> None:
    severity = np.exp(np.linspace(0, 1, 101))
    low, middle, high = quantiles(severity, np.ones(101), (0.05, 0.5, 0.95))
    assert math.log(middle) == pytest.approx(0.5, abs=0.01)
    assert math.log(low) == pytest.approx(0.05, abs=0.01)
    assert math.log(high) == pytest.approx(0.95, abs=0.01)


def healthy(*points: str) -> list[Reading]:
    table = megaphone()
    return [level(name, float(table.values("level")[0, 0, table.points.index(name), 0])) for name in points]


@pytest.mark.parametrize(
    ("slip", "what"),
    [
        (level("U1 pin 1", 0.55 * 2.83), "peak to peak"),
        (level("U1 pin 1", 5.5), "digit"),
        (level("U1 pin 1", 550.0), "mV noted as V"),
    ],
)
def test_a_reading_that_contradicts_the_rest_is_named_with_what_it_would_have_to_be(slip: Reading, what: str) -> None:
    others = healthy("J1 tip", "R2, left end", "R2, right end", "U1 pin 2", "U1 pin 7")
    verdict = ask(*others, slip)
    assert verdict.contradiction == slip
    assert "U1 pin 1" in verdict.warnings[0]
    assert what in verdict.warnings[0]
    assert verdict.healthy > 0.1
    assert verdict.by_slip
    assert not unexplained_alone(verdict)


def test_a_current_s_slip_is_told_in_amperes() -> None:
    rows = taken("", points=("J1 tip", "U1 pin 1", "U1 pin 7", "U1 pin 2"))
    verdict = ask(*rows, Reading("VP", "current", "", 4.8, instrument="dmm-trms", text="4.8 A"))
    assert verdict.contradiction is not None
    assert "It would fit as 4.8 mA (mA noted as A)" in verdict.warnings[0]


def test_every_slip_is_told_in_the_unit_of_its_quantity() -> None:
    assert set(SLIPS) == {each for each in UNITS if each not in ("ripple", "capacitance")}
    for quantity, slips in SLIPS.items():
        units = {word for _, said in slips for word in said.split() if word in ("V", "A", "ohms")}
        assert units <= {{"ohm": "ohms"}.get(UNITS[quantity], UNITS[quantity])}


def test_a_reading_at_the_wrong_pin_is_found() -> None:
    """1.82 V belongs to pin 7; noted for the first stage's input it fits nothing."""
    verdict = ask(*healthy("J1 tip", "R2, left end", "U1 pin 2", "U1 pin 1"), level("R2, right end", 1.82))
    assert verdict.contradiction is not None
    assert "U1 pin 7 (Port), the wrong pin" in verdict.warnings[0]
    # Two failures at once may make such a reading as well: they are tried.
    assert not verdict.by_slip
    assert unexplained_alone(verdict)


def test_the_wrong_pin_is_one_in_reach() -> None:
    table = megaphone()
    unit = table.circuit.unit
    points = tuple(replace(point, reach=point.name != "U1 pin 7") for point in unit.points)
    hidden = replace(table, circuit=replace(table.circuit, unit=replace(unit, points=points)))
    rows = healthy("J1 tip", "R2, left end", "U1 pin 2", "U1 pin 1")
    verdict = match(hidden, readings(*rows, level("R2, right end", 1.82)))
    assert verdict.contradiction is not None
    assert "wrong pin" not in verdict.warnings[0]


def test_readings_that_agree_contain_no_contradiction() -> None:
    assert ask(*taken("C1 open")).contradiction is None
    assert ask(*taken("")).contradiction is None


def test_what_is_known_changes_the_odds_and_is_stated() -> None:
    rows = taken("R4 drift 1.5", points=("J1 tip", "U1 pin 1"))
    plain = ask(*rows)
    unit = megaphone().circuit.unit
    told = match(megaphone(), readings(*rows), knowledge=known(unit, suspects=["r3"]))
    assert probability(told, "R3") / probability(told, "R4") == pytest.approx(
        10 * probability(plain, "R3") / probability(plain, "R4"), rel=0.01
    )
    assert "R3 is suspected" in told.knowledge[0]


def test_age_and_notes_concern_their_kinds() -> None:
    unit = megaphone().circuit.unit
    rows = [level("J1 tip", 0.0993)]
    plain = match(megaphone(), readings(*rows))
    old = match(megaphone(), readings(*rows), knowledge=known(unit, age=30, notes=["Never recapped"]))
    assert probability(old, "C3") > 1.2 * probability(plain, "C3")
    assert probability(old, "R4") < probability(plain, "R4")


def test_a_new_part_is_hardly_ever_the_fault_but_may_be_fitted_wrongly() -> None:
    unit = megaphone().circuit.unit
    rows = taken("R4 drift 1.5", points=("J1 tip", "U1 pin 1"))
    plain, told = ask(*rows), match(megaphone(), readings(*rows), knowledge=known(unit, new=["r4"]))

    def odds(verdict: Verdict, *modes: str) -> float:
        return probability(verdict, "R4", *modes) / probability(verdict, "R3")

    assert odds(told, "drift") == pytest.approx(facts()["new"]["times"] * odds(plain, "drift"), rel=0.01)
    assert odds(told, "wrong") == pytest.approx(odds(plain, "wrong"), rel=0.01)
    assert told.knowledge == ("R4 is new (its own failures ×0.02)",)


def test_a_new_housing_is_new_in_all_its_sections() -> None:
    unit = megaphone().circuit.unit
    rows = [word("U1 pin 7", "nothing")]
    plain, told = ask(*rows), match(megaphone(), readings(*rows), knowledge=known(unit, new=["U1"]))
    assert probability(plain, "U1B") > 0.1
    assert probability(told, "U1B", "dead") < 0.1 * probability(plain, "U1B", "dead")


def test_a_new_part_has_no_age() -> None:
    unit, rows = megaphone().circuit.unit, [level("J1 tip", 0.0993)]
    young, old = (match(megaphone(), readings(*rows), knowledge=known(unit, age=age, new=["C3"])) for age in (None, 40))
    assert probability(old, "C3") < 1.01 * probability(young, "C3")


def test_what_may_go_wrong_with_fitting_is_in_the_catalogue() -> None:
    every = {mode.name for name in kinds() for mode in modes_for(name)}
    assert set(facts()["new"]["fitted"]) <= every


def test_a_stage_that_was_found_to_hold_the_fault_may_be_wrong_but_rarely_is() -> None:
    unit, rows = megaphone().circuit.unit, [word("U1 pin 7", "nothing")]
    plain, told = ask(*rows), match(megaphone(), readings(*rows), knowledge=known(unit, stage="second STAGE"))
    assert told.knowledge == ("the fault was found to be in Second stage (elsewhere ×0.02)",)

    def odds(verdict: Verdict) -> float:
        return probability(verdict, "C1") / probability(verdict, "U1B")

    assert odds(plain) > 0.02
    assert odds(told) == pytest.approx(0.02 * odds(plain), rel=0.01)


def test_knowledge_is_checked() -> None:
    unit = megaphone().circuit.unit
    with pytest.raises(UserError, match=r"no stage 'Secnd stage'.*Second stage"):
        known(unit, stage="Secnd stage")
    with pytest.raises(UserError, match="C12"):
        known(unit, suspects=["C12"])
    with pytest.raises(UserError, match="C12"):
        known(unit, new=["C12"])
    with pytest.raises(UserError, match="dropped"):
        known(unit, notes=["droped"])


def test_limits_of_all_readings_in_reach() -> None:
    """Gain by two resistors: a rise of one is a fall of the other, whatever is read."""
    verdict = ask(*taken("R6 drift 1.5"))
    found = limits(megaphone(), verdict, instruments()["scope-x10"])
    assert any("R6 drift" in names and "R5 drift" in names for names in found.inseparable)
    assert "C2 open" in found.unmarked  # 100 pF at a 1 kΩ source: beyond 10 kHz
    assert "C1 open" not in found.unmarked


def test_how_bad_a_makers_affair_is_is_said_less_narrowly() -> None:
    """The less the readings are believed, the wider the range, from what they say to what was known before."""
    severity, prior = np.geomspace(4.7e3, 47e3, 9), np.full(9, 1 / 9)
    weight = np.exp(-0.5 * ((np.log(severity) - np.log(15e3)) / 0.2) ** 2) / 9
    ratios = []
    for trust in (1.0, allowances().model_maker_severity, 0.0):
        low, _, high = quantiles(severity, half_believed(weight, prior, trust), (0.05, 0.5, 0.95))
        ratios.append(high / low)
    assert ratios == sorted(ratios)
    # Nine steps of an eighth of a decade each: nine tenths of what they stand for.
    assert ratios[0] < 3 < 4 < ratios[1] < ratios[2] == pytest.approx(10 ** (0.9 * 9 / 8))


def test_where_only_the_good_channel_was_read_the_fault_is_in_the_other() -> None:
    verdict = ask(*taken("", points=("J1 tip", "U1 pin 1")), good="Port")
    assert {each.channel for each in verdict.suspects} <= {"Starboard", "all"}
    assert any("nothing is known yet of the one with the fault" in each for each in verdict.warnings)


def test_more_readings_than_can_be_held_in_memory_are_refused() -> None:
    with pytest.raises(UserError, match="5000 readings are more than can be compared at once"):
        ask(*[level("U1 pin 1", 0.55)] * 5000)


def test_a_part_that_is_not_there_is_answered_with_those_that_are() -> None:
    with pytest.raises(UserError, match=r"There are R1, R2, R3"):
        known(megaphone().circuit.unit, suspects=["R77"])
    with pytest.raises(UserError, match=r"There are C1, C2"):
        known(megaphone().circuit.unit, suspects=["CX"])
