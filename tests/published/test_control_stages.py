"""Balance, crossfade and mute of the library: voltage division, and what the trade expects of them."""

from __future__ import annotations

import numpy as np
import pytest

from lostgain.unit.tapers import passed
from tests.circuits.examples import EXAMPLES
from tests.circuits.solve import powered, run


def gain(
    name: str, changed: dict[str, float | str], load: float = 1e12, volts: object = None, at: str = "out"
) -> float:
    """Return the level at 1 kHz for 1 V in."""
    parts, _, rails = EXAMPLES[name]
    lines = powered(name, {**parts, **changed}, "dc 0 ac 1", load, volts or rails)  # type: ignore[arg-type]
    return float(abs(run(lines, "ac lin 1 1k 1k")[at][0]))


def pot(ohms: float, share: float) -> str:
    """Return a potentiometer as the stages' netlists take it."""
    return f"potentiometer R={ohms:g} K={share:g}"


@pytest.mark.parametrize("turn", [0.05, 0.3, 0.5, 0.7, 0.95])
def test_a_balance_control_takes_from_one_channel_what_it_gives_the_other(turn: float) -> None:
    """Voltage division against the part of the track between this channel and the grounded wiper."""
    track = (1 - turn) * 100e3
    assert gain("balance", {"RV": pot(100e3, turn)}) == pytest.approx(track / (10e3 + track), rel=1e-3)


def test_a_balance_control_with_its_wiper_open_couples_the_channels() -> None:
    """Common practice, no source: no balance any more, and each channel is heard in the other."""
    parts, _, rails = EXAMPLES["balance"]
    lines = [
        line.replace("XRV out 0 other", "XRV out cut other")
        for line in powered("balance", parts, "dc 0 ac 1", 1e12, rails)
    ]
    lines.insert(lines.index(".ends"), "Rcut cut 0 1e9")
    found = run(lines, "ac lin 1 1k 1k")
    assert abs(found["out"][0]) == pytest.approx(110 / 120, rel=1e-3)
    assert abs(found["xs.other"][0]) == pytest.approx(10 / 120, rel=1e-3)


@pytest.mark.parametrize("turn", [0.0, 0.25, 0.5, 0.75, 1.0])
@pytest.mark.parametrize(("taper", "against"), [("linear", "linear"), ("audio", "reverse")])
def test_a_crossfade_is_two_dividers_and_a_mixer(turn: float, taper: str, against: str) -> None:
    """Thevenin's theorem; the other gang is wired the other way round, so that one goes down as the other comes up."""
    share, other = passed(turn, taper), 1 - passed(turn, against)
    found = gain("crossfade", {"RVA": pot(10e3, share), "RVB": pot(10e3, other)})
    ahead = 47e3 + 10e3 * share * (1 - share)
    top, bottom = (1 - other) * 10e3 + 1e3, other * 10e3
    behind = 47e3 + top * bottom / (top + bottom)
    assert found == pytest.approx(share * behind / (ahead + behind), rel=2e-3, abs=1e-6)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
@pytest.mark.parametrize("load", [5e3, 10e3, 47e3])
def test_what_follows_loads_a_control_most_at_the_middle(share: float, load: float) -> None:
    """Thevenin's theorem: a control of R at the share a is a source of a (1 - a) R."""
    ohms = share * (1 - share) * 10e3
    assert gain("level", {"RV": pot(10e3, share)}, load) == pytest.approx(share * load / (load + ohms), rel=1e-3)


def test_a_transistor_mutes_and_lets_go() -> None:
    """Common practice, no source: a saturated transistor leaves some ohms: forty decibels and more down."""
    open_level = gain("mute-transistor", {}, 100e3)
    muted = gain("mute-transistor", {}, 100e3, {"vm": 15.0})
    assert 20 * np.log10(muted / open_level) < -40
    assert open_level == pytest.approx(100e3 / (100e3 + 2.2e3 + 470), rel=2e-3)


@pytest.mark.parametrize("half", [1.0, -1.0])
def test_the_negative_base_keeps_large_half_waves_whole(half: float) -> None:
    """With its base at ground a negative half-wave turns on the collector junction; some volts below, it does not."""
    parts, load, rails = EXAMPLES["mute-transistor"]
    lines = powered("mute-transistor", parts, f"dc {2.0 * half}", load, rails)
    assert run(lines, "op")["out"][0] == pytest.approx(half * 2 * 100 / 102.67, rel=5e-3)
    grounded = powered("mute-transistor", parts, f"dc {2.0 * half}", load, {"vm": 0.0})
    assert (abs(run(grounded, "op")["out"][0]) > 1.9) == (half > 0)
