"""Facts of the trade: common practice, no source. Each is a rise or fall of probability, not wording or certainty."""

from __future__ import annotations

from lostgain import match, open_unit
from tests.diagnosis.megaphone import ask, dc, level, megaphone, probability, readings, row_of, taken, word


def prior(part: str) -> float:
    """Probability of a part before any reading that says something: from one reading alike under all."""
    verdict = ask(level("J1 tip", 0.0993))
    return sum(each.prior for each in verdict.suspects if each.part == part) * 0.88


def healthy_levels(*points: str, channel: str = "Port") -> list[tuple[str, float]]:
    """Healthy levels [V rms] at 500 Hz."""
    table = megaphone()
    return [(point, float(table.values("level")[0, 0, table.points.index(point), 0])) for point in points]


def test_two_healthy_channels_read_the_same() -> None:
    points = ("J1 tip", "R2, right end", "U1 pin 1", "U1 pin 7")
    port = [level(point, volts) for point, volts in healthy_levels(*points)]
    one = ask(*port)
    both = ask(*port, *(level(point, volts, "Starboard") for point, volts in healthy_levels(*points)))
    assert both.healthy > one.healthy > 0.10  # the prior of a healthy unit


def test_good_ahead_of_a_coupling_capacitor_and_bad_behind_it() -> None:
    verdict = ask(level("J1 tip", 0.0993), word("R2, left end", "nothing"))
    assert verdict.suspects[0].part == "C1"
    # What loads its far side comes behind it: the bias resistor, the shunt capacitor, the op-amp's input.
    loads = {each.part for each in verdict.suspects[1:12] if each.probability > 0}
    assert loads & {"R1", "C2", "U1A"}
    assert probability(verdict, "C1") > 5 * max(probability(verdict, part) for part in ("R1", "C2", "U1A"))


def test_the_same_capacitor_with_the_good_channel_beside_it() -> None:
    bad = [level("J1 tip", 0.0993), level("R2, left end", 0.012)]
    good = [level("J1 tip", 0.0993, "Starboard"), level("R2, left end", 0.0993, "Starboard")]
    verdict = ask(*bad, *good, good="Starboard")
    assert verdict.suspects[0].part == "C1"
    assert verdict.suspects[0].channel == "Port"


def test_bridging_the_capacitor_decides() -> None:
    """Bridged with a good one, power off while fitting it, the signal is back: the unit then reads as a healthy one."""
    before = ask(level("J1 tip", 0.0993), word("R2, left end", "nothing"))
    bridged = ask(level("J1 tip", 0.0993), level("R2, left end", 0.0993))
    assert bridged.healthy > 10 * before.healthy
    assert probability(bridged, "C1", "open") < 0.1 * probability(before, "C1", "open")


def test_the_same_signal_on_both_sides_of_a_series_resistor_clears_it_of_being_open_but_not_of_being_low() -> None:
    # The complaint is a dull, low second stage: R5 feeds its virtual ground, where healthy signal is next to nothing.
    low_output = [level("U1 pin 1", 0.55), level("U1 pin 7", 0.3)]
    before = ask(*low_output)
    after = ask(*low_output, level("R2, left end", 0.0993), level("R2, right end", 0.0993))
    assert probability(after, "R2", "open") <= probability(before, "R2", "open") + 1e-9
    assert probability(after, "R2", "open") < 0.001 * prior("R2")
    healthy = ask(level("J1 tip", 0.0993), level("R2, left end", 0.0993), level("R2, right end", 0.0993))
    low = next(each for each in healthy.suspects if each.part == "R2" and each.mode == "short")
    assert low.probability > 0.5 * low.prior


def test_no_drop_across_a_resistor_that_should_drop_signal_points_at_an_open_path_beyond() -> None:
    """R3 drops the signal to ground through C3: when pin 2 follows and the gain is gone, the ground leg is open."""
    verdict = ask(level("R2, right end", 0.0993), level("U1 pin 2", 0.0993), level("U1 pin 1", 0.0995))
    assert (
        probability(verdict, "C3", "open", "esr", "joint", "lost") + probability(verdict, "R3", "open", "joint") > 0.8
    )
    # The inverting stage's input resistor likewise: all of the signal at its far end means that no current flows.
    verdict = ask(level("U1 pin 1", 0.55), level("U1 pin 6", 0.55), dc("U1 pin 7", 0.0))
    assert probability(verdict, "R6") + probability(verdict, "U1B") > 0.8
    assert probability(verdict, "R5", "open") < 0.01


def test_a_low_output_clears_the_op_amp_if_its_input_is_already_low() -> None:
    output = [word("U1 pin 1", "nothing")]
    blamed = probability(ask(*output), "U1A")
    cleared = ask(*output, level("R2, right end", 0.003))
    dead = probability(cleared, "U1A", "dead", "stuck-high", "stuck-low", "low-gain", "vp-open", "vn-open")
    assert dead < 0.05 * blamed


def test_unless_the_op_amps_pin_itself_drags_the_node_down() -> None:
    output = [word("U1 pin 1", "nothing")]
    before = probability(ask(*output), "U1A", "inp-leaky")
    assert probability(ask(*output, level("R2, right end", 0.003)), "U1A", "inp-leaky") > 2 * before


def test_an_inverting_stage_is_judged_ahead_of_its_input_resistor() -> None:
    """Its − pin shows almost nothing when healthy: that alone must not put the blame ahead of it."""
    healthy_pin = ask(level("U1 pin 1", 0.55), word("U1 pin 6", "nothing"), level("U1 pin 7", 1.82))
    assert healthy_pin.healthy > 0.1
    lost_loop = ask(level("U1 pin 1", 0.55), level("U1 pin 6", 0.4))
    assert lost_loop.healthy < 0.001
    assert probability(lost_loop, "U1B") + probability(lost_loop, "R6") > 0.8


def test_500_hz_sine_and_8_ohm_dummy_loads_are_the_usual_set_up() -> None:
    assert megaphone().frequencies[0] == 500

    assert open_unit("ferry-terminal").setup.load.ohms == 8


def test_a_level_controls_position_is_as_marked_on_that_control() -> None:
    """-6 dB passes half the voltage, whatever the taper."""

    unit = open_unit("ferry-terminal")
    assert abs(next(iter(unit.setup.controls.values())) - 10 ** (-6 / 20)) < 0.01


def test_every_row_is_found_again_when_another_draw_of_it_is_read() -> None:
    """The right part is among the look-alikes of the first, for a choice of faults of every kind of part.

    Some 3 to 30 pF are left of an open capacitor: to say that C1 has 23 pF left of 1 µF is to say that it is open.
    """
    labels = (
        "C1 open",
        "R2 open",
        "R4 drift 2.5",
        "U1A dead",
        "U1B stuck-high",
        "C3 lost 0.001",
        "VP missing 4.7e+03",
    )
    for label in labels:
        verdict = match(megaphone(), readings(*taken(label, draw=3)))
        part, mode = label.split()[:2]
        first = verdict.suspects[0].group
        alike = [each for each in verdict.suspects if each.part == part and each.group == first]
        open_too = [
            each for each in alike if label == "C1 open" and each.mode == "lost" and each.severity * 1e-6 < 30e-12
        ]
        assert open_too or any(each.mode == mode for each in alike), label
        assert row_of(label) > 0


def test_a_stage_that_switches_from_rail_to_rail_is_found_again_when_another_draw_of_it_is_read() -> None:
    """Without its feedback it switches where the generator crosses zero; on a bench that is a steady square wave."""
    verdict = match(megaphone(), readings(*taken("R6 open", draw=3)))
    first = verdict.suspects[0].group
    assert any((each.part, each.mode, each.group) == ("R6", "open", first) for each in verdict.suspects)
