"""The library's valve stages against data sheets, the textbook and a paper.

Sources
-------
[ECC83], [EL84] Philips data sheets: resistance-coupled amplifier table, class A and class AB operation (from memory, to
    be verified).
[RDH] F. Langford-Smith, *Radio Designer's Handbook*, 4th ed.: gain of resistance-coupled triodes, cathode followers,
    phase splitters, transformer coupling (formulas from memory, to be verified).
[YS] D. T. Yeh and J. O. Smith, "Discretization of the '59 Fender Bassman tone stack", DAFx-06: the network's transfer
    function (from memory, to be verified).
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.circuits.solve import model, run, stage
from tests.published.test_stages import distortion, harmonics, sine

TRIODE = "triode-12ax7"
STAGE: dict[str, float | str] = {"CIN": 1e-6, "RG": 1e6, "V": TRIODE, "RA": 100e3, "RK": 1.5e3, "CK": 100e-6}


def alone(name: str, parts: dict[str, float | str], source: str, load: float, **rails: float) -> list[str]:
    """Return a stage between a source and a load [ohm], with its rails [V]; other inputs at ground, outputs open."""
    head = next(line for line in stage(name, parts) if line.startswith(".subckt"))
    nodes = head.split()[2:]
    lines = [*stage(name, parts), f"Vin in 0 {source}", f"Rload out 0 {load:g}", f"Xs {' '.join(nodes)} {name}"]
    lines += [f"V{port} {port} 0 {volts:g}" for port, volts in rails.items()]
    return lines + [f"Rfree{node} {node} 0 {1e-2 if node == 'in2' else 1e9:g}" for node in nodes if node[-1] == "2"]


def gain(lines: list[str], frequency: float, node: str = "out") -> complex:
    """Return the small-signal level at a node for 1 V in."""
    return complex(run(lines, f"ac lin 1 {frequency:g} {frequency:g}")[node][0])


def small(anode: float, grid: float) -> tuple[float, float]:
    """Return amplification factor and anode resistance [ohm] of the triode class, from its static curves."""

    def current(va: float, vg: float) -> float:
        lines = [*model(TRIODE), f"Va a 0 {va:.9g}", f"Vg g 0 {vg:.9g}", f"Xv a g 0 {TRIODE}"]
        return float(-run(lines, "op")["va#branch"][0].real)

    slope = (current(anode, grid + 0.01) - current(anode, grid - 0.01)) / 0.02
    resistance = 2 / (current(anode + 1, grid) - current(anode - 1, grid))
    return slope * resistance, resistance


@pytest.mark.parametrize("bypassed", [True, False])
def test_triode_gain_is_mu_times_the_divider(bypassed: bool) -> None:
    """[RDH] A = mu RL/(RL + ra), and mu RL/(RL + ra + (mu + 1) RK) without the bypass capacitor."""
    parts = {role: value for role, value in STAGE.items() if bypassed or role != "CK"}
    lines = alone("triode-stage", parts, "dc 0 ac 1", 1e9, vp=300)
    point = run(lines, "op")
    cathode, anode = point["xs.k"][0].real, point["out"][0].real
    mu, ra = small(anode - cathode, -cathode)
    expected = -mu * 100e3 / (100e3 + ra + (0 if bypassed else (mu + 1) * 1.5e3))
    assert gain(lines, 1e3).real == pytest.approx(expected, rel=0.01)
    assert np.degrees(np.angle(gain(lines, 1e3))) % 360 == pytest.approx(180, abs=1)


@pytest.mark.parametrize(("supply", "bias", "current", "figure"), [
    (200, 1.8e3, 0.65e-3, 50), (250, 1.5e3, 0.86e-3, 54), (300, 1.2e3, 1.11e-3, 57), (350, 1.0e3, 1.40e-3, 61),
])  # fmt: skip
def test_triode_stage_by_its_data_sheet(supply: float, bias: float, current: float, figure: float) -> None:
    """[ECC83] RC-coupled: anode resistor 100 kohm, next grid leak 330 kohm.

    Currents within 12 %, gains within 0.8 dB.
    """
    lines = alone("triode-stage", {**STAGE, "RK": bias}, "dc 0 ac 1", 1e9, vp=supply)
    lines += ["Cnext out next 1u", "Rnext next 0 330k"]
    point = run(lines, "op")
    assert (supply - point["out"][0].real) / 100e3 == pytest.approx(current, rel=0.12)
    assert 20 * np.log10(abs(gain(lines, 1e3)) / figure) == pytest.approx(0, abs=0.8)


def test_cathode_follower_gain_and_output_resistance() -> None:
    """[RDH] A = mu RK/(ra + (mu + 1) RK); Zo = ra/(mu + 1) with RK in parallel."""
    lines = alone("cathode-follower", {"V": TRIODE, "RK": 100e3}, "dc 150 ac 1", 1e9, vp=300)
    point = run(lines, "op")
    mu, ra = small(300 - point["out"][0].real, 150 - point["out"][0].real)
    assert gain(lines, 1e3).real == pytest.approx(mu * 100e3 / (ra + (mu + 1) * 100e3), rel=1e-3)
    probed = [line.replace("ac 1", "") for line in lines] + ["Iprobe 0 out dc 0 ac 1"]
    ohms = 1 / ((mu + 1) / ra + 1 / 100e3)
    assert abs(gain(probed, 1e3)) == pytest.approx(ohms, rel=0.02)


def test_long_tailed_pair_gains_and_balance() -> None:
    """[RDH] each half sees half the input; the tail's share is missing in the second half.

    By nodal analysis of two linear triodes (mu, ra): loads RA1 and RA2, the tail RK + RT in the cathodes; the grid
    leaks' return to the tail is neglected.
    """
    parts: dict[str, float | str] = {"CIN": 1e-6, "RG1": 1e6, "RG2": 1e6, "CG": 1e-6, "V1": TRIODE, "V2": TRIODE,
                                     "RA1": 82e3, "RA2": 100e3, "RK": 470.0, "RT": 10e3}  # fmt: skip
    lines = alone("phase-splitter", parts, "dc 0 ac 1", 1e9, vp=300)
    point = run(lines, "op")
    cathode, grid = point["xs.k"][0].real, point["xs.a"][0].real
    (mu, ra), (mu2, ra2) = (small(point[out][0].real - cathode, grid - cathode) for out in ("out", "out2"))
    # i1 (ra + RA1) = mu (vin - vk) - vk, i2 (ra + RA2) = -(mu + 1) vk, vk = (i1 + i2)(RK + RT)
    one, two, tail = ra + 82e3, ra2 + 100e3, 10.47e3
    vk = mu / one / (1 / tail + (mu + 1) / one + (mu2 + 1) / two)
    first, second = -(mu * (1 - vk) - vk) / one * 82e3, (mu2 + 1) * vk / two * 100e3
    assert gain(lines, 1e3, "out").real == pytest.approx(first, rel=0.03)
    assert gain(lines, 1e3, "out2").real == pytest.approx(second, rel=0.03)
    assert 20 * np.log10(abs(gain(lines, 1e3, "out2") / gain(lines, 1e3, "out"))) == pytest.approx(0, abs=0.7)


def bassman(frequency: float, treble: float, bass: float, middle: float) -> complex:
    """[YS] the tone stack's transfer function, its formulas written out."""
    t, l, m = treble, bass, middle  # noqa: E741, the paper's names
    r1, r2, r3, r4, c1, c2, c3 = 250e3, 1e6, 25e3, 56e3, 250e-12, 20e-9, 20e-9
    b1 = t * c1 * r1 + m * c3 * r3 + l * (c1 + c2) * r2 + (c1 + c2) * r3
    b2 = (
        t * (c1 * c2 + c1 * c3) * r1 * r4
        - m**2 * (c1 * c3 + c2 * c3) * r3**2
        + m * (c1 * c3 * r1 * r3 + c1 * c3 * r3**2 + c2 * c3 * r3**2)
        + l * (c1 * c2 * r1 * r2 + c1 * c2 * r2 * r4 + c1 * c3 * r2 * r4)
        + l * m * (c1 * c3 + c2 * c3) * r2 * r3
        + (c1 * c2 * r1 * r3 + c1 * c2 * r3 * r4 + c1 * c3 * r3 * r4)
    )
    ccc = c1 * c2 * c3
    b3 = ccc * (
        l * m * (r1 * r2 * r3 + r2 * r3 * r4)
        - m**2 * (r1 * r3**2 + r3**2 * r4)
        + m * (r1 * r3**2 + r3**2 * r4)
        + t * r1 * r3 * r4
        - t * m * r1 * r3 * r4
        + t * l * r1 * r2 * r4
    )
    a1 = c1 * r1 + c1 * r3 + c2 * r3 + c2 * r4 + c3 * r4 + m * c3 * r3 + l * (c1 + c2) * r2
    a2 = (
        m * (c1 * c3 * r1 * r3 - c2 * c3 * r3 * r4 + c1 * c3 * r3**2 + c2 * c3 * r3**2)
        + l * m * (c1 * c3 + c2 * c3) * r2 * r3
        - m**2 * (c1 * c3 + c2 * c3) * r3**2
        + l * (c1 * c2 * r2 * r4 + c1 * c2 * r1 * r2 + c1 * c3 * r2 * r4 + c2 * c3 * r2 * r4)
        + c1 * c2 * r1 * r4 + c1 * c3 * r1 * r4 + c1 * c2 * r3 * r4 + c1 * c2 * r1 * r3
        + c1 * c3 * r3 * r4 + c2 * c3 * r3 * r4
    )  # fmt: skip
    a3 = ccc * (
        l * m * (r1 * r2 * r3 + r2 * r3 * r4)
        - m**2 * (r1 * r3**2 + r3**2 * r4)
        + m * (r3**2 * r4 + r1 * r3**2 - r1 * r3 * r4)
        + l * r1 * r2 * r4
        + r1 * r3 * r4
    )
    s = 2j * np.pi * frequency
    return complex((b1 * s + b2 * s**2 + b3 * s**3) / (1 + a1 * s + a2 * s**2 + a3 * s**3))


@pytest.mark.parametrize("frequency", [30.0, 300.0, 1e3, 5e3, 15e3])
@pytest.mark.parametrize(
    ("treble", "bass", "middle"), [(0.5, 0.5, 0.5), (0.1, 0.9, 0.3), (0.9, 0.05, 0.8), (1, 1, 1), (0, 0, 0)]
)
def test_tone_network_is_the_papers(frequency: float, treble: float, bass: float, middle: float) -> None:
    shares = {"RVT": (250e3, treble), "RVB": (1e6, bass), "RVM": (25e3, middle)}
    parts: dict[str, float | str] = {"CT": 250e-12, "CB": 20e-9, "CM": 20e-9, "RSL": 56e3}
    parts |= {role: f"potentiometer R={ohms:g} K={share:g}" for role, (ohms, share) in shares.items()}
    lines = alone("tone-stack", parts, "dc 0 ac 1", 1e12)
    assert gain(lines, frequency) == pytest.approx(bassman(frequency, treble, bass, middle), rel=2e-3, abs=1e-5)


SINGLE: dict[str, float | str] = {"CIN": 1e-6, "RG": 470e3, "V": "pentode-el84", "RK": 135.0, "CK": 470e-6,
                                  "T": "transformer_output_se turns=25.5"}  # fmt: skip


def test_single_ended_pentode_by_its_data_sheet() -> None:
    """[EL84] 250 V at anode and screen grid, 135 ohm, 5.2 kohm: 48 mA and 5.5 mA; 4.3 V rms give 5.7 W at 10 %.

    The winding resistances take some of the watts: at least 4 W of them at the secondary, and 10 % within a half.
    """
    lines = alone("pentode-single-ended", SINGLE, "dc 0 ac 1", 8, vp=271, vs=257)
    point = run(lines, "op")
    assert point["xs.k"][0].real / 135 == pytest.approx(53.5e-3, rel=0.05)
    assert point["xs.p"][0].real - point["xs.k"][0].real == pytest.approx(250, abs=3)
    (out,) = sine(alone("pentode-single-ended", SINGLE, "dc 0 sin(0 6.08 1k)", 8, vp=271, vs=257), 1e3)
    assert 4.0 < harmonics(out)[0] ** 2 / 16 < 6.0
    assert distortion(out) == pytest.approx(0.10, rel=0.5)


PUSH_PULL: dict[str, float | str] = {"CIN1": 1e-6, "CIN2": 1e-6, "RG1": 470e3, "RG2": 470e3, "V1": "pentode-el84",
                                     "V2": "pentode-el84", "RK": 130.0, "CK": 470e-6,
                                     "T": "transformer_output_pp turns=31.6"}  # fmt: skip


def test_push_pull_pentodes_by_their_data_sheet() -> None:
    """[EL84] 250 V, common 130 ohm, 8 kohm from anode to anode: 2 x 31 mA and 2 x 3.5 mA at rest, 11 W for 8 V rms.

    The equations' knee is sharper than a real valve's, and nothing sags here: up to a quarter more comes out.
    """

    def lines(source: str) -> list[str]:
        both = alone("pentode-push-pull", PUSH_PULL, source, 8, vp=262, vs=259)
        return [line.replace("Rfreein2 in2 0 0.01", "Efree in2 0 in 0 -1") for line in both]

    point = run(lines("dc 0"), "op")
    assert point["xs.k"][0].real / 130 == pytest.approx(69e-3, rel=0.05)
    assert abs(point["out"][0].real) < 1e-3
    (out,) = sine(lines("dc 0 sin(0 11.3 1k)"), 1e3)
    assert harmonics(out)[0] ** 2 / 16 == pytest.approx(11, rel=0.25)
    assert harmonics(out)[1] < 0.01 * harmonics(out)[0]  # even harmonics cancel in a balanced pair


def test_transformer_coupling_loses_its_bass_by_the_primary_inductance() -> None:
    """[RDH] the lower corner is R/(2 pi L), R being the source in series with the winding, and the load across it."""
    parts: dict[str, float | str] = {"RS": 600.0, "T": "transformer_line turns=1", "RL": 10e3}
    lines = alone("transformer-coupling", parts, "dc 0 ac 1", 1e9)
    across = 1 / (1 / (600 + 45) + 1 / (10e3 + 45) + 1 / 100e3)
    corner = across / (2 * np.pi * 8)
    middle = abs(gain(lines, 1e3))
    assert abs(gain(lines, corner)) / middle == pytest.approx(2**-0.5, rel=0.01)
    assert middle == pytest.approx(10e3 / (10e3 + 45) * (1 / (1 / 10045 + 1 / 100e3)) / (645 + 1 / (1 / 10045 + 1e-5)),
                                   rel=0.002)  # fmt: skip
