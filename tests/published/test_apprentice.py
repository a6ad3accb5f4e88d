"""What a drill shows beside what an apprentice works out on paper for three textbook stages.

Sources
-------
[SS] A. S. Sedra and K. C. Smith, *Microelectronic Circuits*, Oxford University Press: the chapter on biasing a discrete
bipolar stage with a divider (V_BB = V_CC R2/(R1 + R2), I_E = (V_BB - V_BE)/(R_E + R_B/(beta + 1))), on the
common-emitter amplifier (gain -g_m (R_C || R_L), and about -(R_C || R_L)/(r_e + R_E) with the emitter not bypassed),
and on the non-inverting configuration (1 + R2/R1). From memory, to be verified against an edition.
[HH] P. Horowitz and W. Hill, *The Art of Electronics*, 3rd ed., section 1.7.1, on RC filters: f_3dB = 1/(2 pi R C),
where the output is 0.707 of the input. From memory, to be verified.

The formulas are worked with what the drill's parts measure; its instruments have their errors: 1 % of one
reading, so 4.5 % covers three standard deviations of a ratio of two. V_T = kT/q = 25.9 mV at 27 degrees C.
"""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pytest

from lostgain import Circuit, Pool, Unit, build_circuit, open_unit, parse_fault
from lostgain.teach.draw import hide
from lostgain.teach.drill import begun, do
from lostgain.teach.hidden import Hidden
from lostgain.teach.record import Drill
from lostgain.teach.rig import Rig
from tests.published.emitter_text import common_emitter

RL = 100e3
V_T, V_BE, BETA = 0.0259, 0.7, 200.0

EMITTER = common_emitter(
    "Single-transistor stage for apprentices",
    '"+24 V"',
    'generator = "5 mV rms"\nload = "100k"\nfrequencies = ["10 kHz", "100 Hz", "20 kHz"]\n',
    'CIN = "C1 10u 25V"\nRB1 = "R1 47k"\nRB2 = "R2 10k"\nRC = "R3 4k7"\nRE = "R4 1k"\nCE = "C2 1000u 16V"\n'
    'Q = "Q1 npn-small"\n',
    'in = "J1 tip"\nb = "Q1 base"\ne = "Q1 emitter"\nout = "Q1 collector"\n',
)
MEGAPHONE = Path(__file__).parent.parent / "units" / "megaphone"


@cache
def pool() -> Pool:
    import atexit

    own = Pool(workers=1)
    atexit.register(own.__exit__, None, None, None)
    return own.__enter__()


@cache
def built(folder: Path) -> tuple[Unit, Circuit]:
    unit = open_unit(folder)
    return unit, build_circuit(unit, pool())


def hidden_in(folder: Path, fault: str, channel: str) -> Hidden:
    unit, circuit = built(folder)
    return hide(unit, circuit, 2, 11, pool(), (parse_fault(fault, circuit),), channel)


def measured(folder: Path, hidden: Hidden, channel: str, *parts: str) -> list[float]:
    """What these parts of a channel measure, which an apprentice would find out of circuit [ohm], [V]."""
    _, circuit = built(folder)
    return [hidden.built[channel].values[circuit.parts[part].element][1] for part in parts]


def shown(folder: Path, hidden: Hidden, *lines: str) -> list[float]:
    """Readings of a drill [V rms], [V]."""
    unit, _ = built(folder)
    drill: Drill = begun(unit, hidden, pool())
    rig = Rig(unit, hidden, pool())
    for line in lines:
        drill = do(drill, rig, line).drill
    return [each.value or 0.0 for each in drill.readings]


@pytest.fixture(scope="module")
def emitter(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("units") / "single-transistor"
    folder.mkdir()
    (folder / "unit.toml").write_text(EMITTER)
    return folder


def emitter_current(vcc: float, rb1: float, rb2: float, re: float) -> float:
    """[SS] the divider's voltage less a junction, over R_E and what of the divider's resistance the emitter sees."""
    open_volts, divider = vcc * rb2 / (rb1 + rb2), rb1 * rb2 / (rb1 + rb2)
    return (open_volts - V_BE) / (re + divider / (BETA + 1))


def test_operating_point_of_a_common_emitter_stage(emitter: Path) -> None:
    """[SS] of the good channel: emitter, base one junction higher, collector by the current through R_C."""
    hidden = hidden_in(emitter, "C2 open", "Left")
    vcc, rb1, rb2, rc, re = measured(emitter, hidden, "Right", "VP", "R1", "R2", "R3", "R4")
    e, b, c = shown(emitter, hidden, "Q101 emitter, dc", "Q101 base, dc", "Q101 collector, dc")
    amps = emitter_current(vcc, rb1, rb2, re)
    assert e == pytest.approx(amps * re, rel=0.05)
    assert b - e == pytest.approx(V_BE, abs=0.05)
    # The load's 100 kΩ takes its share of the rail.
    assert c == pytest.approx((vcc - amps * rc) * RL / (rc + RL), rel=0.08)


def test_gain_of_a_common_emitter_stage_with_and_without_its_bypass(emitter: Path) -> None:
    """[SS] g_m (R_C || R_L) in the good channel, (R_C || R_L)/(r_e + R_E) where the bypass capacitor is open."""
    hidden = hidden_in(emitter, "C2 open", "Left")
    lines = ("instrument scope-x1", "generator 2 mV rms", "Q101 base", "Q101 collector", "Q1 base", "Q1 collector")
    good_in, good, bad_in, bad = shown(emitter, hidden, *lines)
    for channel, gain in (("Left", bad / bad_in), ("Right", good / good_in)):
        vcc, rb1, rb2, rc, re = measured(emitter, hidden, channel, "VP", "R1", "R2", "R3", "R4")
        load, small_re = rc * RL / (rc + RL), V_T / emitter_current(vcc, rb1, rb2, re)
        if channel == "Left":
            assert gain == pytest.approx(load / (small_re + re), rel=0.05)
        else:  # the formula leaves out the transistor's own emitter and base resistance, and r_o: up to three tenths
            assert 0.7 * load / small_re < gain < 1.03 * load / small_re


def test_gain_of_a_non_inverting_stage() -> None:
    """[SS] 1 + RF/RG in the good channel; RG has drifted to six times its value in the other."""
    hidden = hidden_in(MEGAPHONE, "R3 drift 6x", "Port")
    good_in, good, bad_in, bad = shown(MEGAPHONE, hidden, "U101 pin 2", "U101 pin 1", "U1 pin 2", "U1 pin 1")
    for channel, times, gain in (("Starboard", 1, good / good_in), ("Port", 6, bad / bad_in)):
        rf, rg = measured(MEGAPHONE, hidden, channel, "R4", "R3")
        assert gain == pytest.approx(1 + rf / (times * rg), rel=0.045)


@pytest.mark.parametrize("share", [1.0, 0.02])
def test_corner_of_an_rc(share: float) -> None:
    """[HH] 1/(2 pi R C): there the level is 0.707 of that far above; with a fiftieth of C left, 50 times higher.

    The resistance is the stage's 100 kΩ with the probe's 10 MΩ across it, in series with the generator's 600 Ω.
    """
    hidden = hidden_in(MEGAPHONE, "C1 lost 0.02", "Port")
    rb, c = measured(MEGAPHONE, hidden, "Port" if share < 1 else "Starboard", "R1", "C1")
    r = 600 + 1 / (1 / rb + 1 / 10e6)
    corner = 1 / (2 * math.pi * r * c * share)
    place = "R2, left end" if share < 1 else "R102, left end"
    low, high = shown(MEGAPHONE, hidden, f"{place}, {corner:.3f} Hz, x10", f"{place}, 5 kHz, x10")
    assert low / high == pytest.approx(1 / math.sqrt(2), rel=0.045)
