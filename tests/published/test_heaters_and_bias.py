"""Heaters and grid bias from the mains: what their failures do to the valves.

Sources
-------
Common practice, no source: valves without heater current draw nothing, so that the anode is at the rail's voltage; half
of 6.3 V from either end of a balanced heater to ground; without bias both output valves draw far too much.
[PP] The pair's anode current by its own data sheet, see the example of `pentode-push-pull-fixed`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.faults import listing, parse
from lostgain.signatures.draws import deviates, varied
from lostgain.signatures.fuses import fuses
from lostgain.signatures.rows import RowTask, run_row
from lostgain.unit import open_unit
from tests.published.conftest import pool  # noqa: F401
from tests.published.mains import look
from tests.published.mains_texts import bridge, head, smoothing, triode
from tests.published.test_supplies import seen

TRIODES = (
    smoothing("22k", "47u 450V")
    + triode("First triode", "V1", "R3", "R4", "R5")
    + triode("Second triode", "V2", "R6", "R7", "R8", "C3")
)
ON_AC = """
[rails]
HT = "+280 V"
HT2 = "+240 V"
[[supply]]
name = "Heaters"
use = "supply-heater-ac"
F = "F2 1A"
T = "T2 230:6.4 transformer_mains"
J = "J1"
RP1 = "R20 100R"
RP2 = "R21 100R"
RH = "R22 10R5"
[supply.points]
out = "V1 pin 4"
out2 = "V1 pin 5"
"""
ON_DC = """
[rails]
HT = "+280 V"
HT2 = "+240 V"
HR = "+9.5 V"
H = "+6.3 V"
[[supply]]
name = "Heater rectifier"
use = "supply-bridge"
F = "F2 1A"
T = "T2 230:8.9 transformer_mains"
D1 = "D11 diode-rectifier"
D2 = "D12 diode-rectifier"
D3 = "D13 diode-rectifier"
D4 = "D14 diode-rectifier"
C = "C20 4700u 25V"
rails = { out = "HR" }
[supply.points]
out = "C20 plus"
[[supply]]
name = "Heaters"
use = "supply-heater-dc"
R = "R23 5R6 5W"
C = "C21 4700u 16V"
RH = "R22 10R5"
heats = ["V1A"]
rails = { in = "HR", out = "H" }
[supply.points]
out = "V1 pin 4"
"""
BIAS = """
[rails]
HT = "+380 V"
BR = "-58 V"
VB = "-36 V"
[[supply]]
name = "Bias rectifier"
use = "supply-half-wave-negative"
F = "F2 100mA"
T = "T2 230:42 transformer_mains"
D = "D10 diode-rectifier"
C = "C10 47u 100V"
rails = { out = "BR" }
[supply.points]
out = "C10 minus"
[[supply]]
name = "Bias"
use = "supply-bias"
R = "R30 15k"
C1 = "C11 47u 100V"
RV = "RV1 22k linear"
RL = "R31 33k"
C = "C12 47u 63V"
RB = "R32 1M"
rails = { in = "BR", out = "VB" }
[supply.points]
w = "RV1 wiper"
[[stage]]
name = "Splitter"
use = "phase-splitter"
RG1 = "R40 1M"
RG2 = "R41 1M"
V1 = "V1A triode-12ax7"
V2 = "V1B triode-12ax7"
RA1 = "R42 82k"
RA2 = "R43 100k"
RK = "R44 470R"
RT = "R45 10k"
CIN = "C40 22n"
CG = "C41 100n"
rails = { vp = "HT" }
[[stage]]
name = "Output stage"
use = "pentode-push-pull-fixed"
CIN1 = "C42 100n"
CIN2 = "C43 100n"
RG1 = "R50 150k"
RG2 = "R51 150k"
V1 = "V2 pentode-el34"
V2 = "V3 pentode-el34"
RSC1 = "R52 1k 5W"
RSC2 = "R53 1k 5W"
RK1 = "R54 10R"
RK2 = "R55 10R"
T = "T3 20:1 transformer_output_pp"
rails = { vp = "HT", vs = "HT", vb = "VB" }
[stage.points]
k1 = "V2 pin 8"
k2 = "V3 pin 8"
a1 = "R50, hot end"
"""
HEAD, BEHIND_SPEAKER = (head("A valve unit", load, "100k") for load in ("1M", "8R"))
#: High tension and heaters from two windings of one transformer, behind one fuse.
SHARED = (
    head("A valve unit", "1M", "100k", "F1 1A")
    + bridge("T1A 230:210", "100u 450V", "100k")
    + ON_AC.replace('F = "F2 1A"\n', "").replace('"T2 ', '"T1B ')
    + TRIODES
)
UNITS = {
    "on AC": HEAD + bridge("T1 230:210", "100u 450V", "100k", "F1 1A") + ON_AC + TRIODES,
    "on DC": HEAD + bridge("T1 230:210", "100u 450V", "100k", "F1 1A") + ON_DC + TRIODES,
    "shared": SHARED,
    "bias alone": HEAD
    + BIAS[: BIAS.index("[[stage]]")].replace('HT = "+380 V"\n', "")
    + '[[stage]]\nname = "Contact"\nuse = "contact"\nK = "J9"\n',
    "fixed bias": BEHIND_SPEAKER + bridge("T1 230:290", "100u 450V", "100k", "F1 1A") + BIAS,
}


@pytest.fixture(scope="module")
def circuits(pool: Pool, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Circuit]:  # noqa: F811
    found = {}
    for name, text in UNITS.items():
        folder = tmp_path_factory.mktemp("heated")
        (folder / "unit.toml").write_text(text, encoding="utf-8")
        found[name] = build(open_unit(Path(folder)), pool)
    return found


def test_a_balanced_heater_has_half_its_voltage_at_either_end(pool: Pool, circuits: dict[str, Circuit]) -> None:  # noqa: F811
    found = seen(pool, circuits["on AC"])
    assert found["V1 pin 4"][1] == pytest.approx(6.3 * 2**0.5, rel=0.05)
    assert found["V1 pin 5"][1] == pytest.approx(6.3 * 2**0.5, rel=0.05)


def test_half_of_the_pair_open_puts_all_of_it_at_one_end_and_hum_into_the_signal(
    pool: Pool,  # noqa: F811
    circuits: dict[str, Circuit],
) -> None:
    well, hums = seen(pool, circuits["on AC"]), seen(pool, circuits["on AC"], "R20 open")
    assert hums["V1 pin 4"][1] == pytest.approx(2 * well["V1 pin 4"][1], rel=0.05)
    assert hums["V1 pin 5"][1] < 0.1
    assert hums["V2 pin 1"][1] > 4 * well["V2 pin 1"][1]  # the stray capacitances differ by a tenth from their mean
    assert hums["V1 pin 1"][0] == pytest.approx(well["V1 pin 1"][0], rel=0.01)  # the valves are hot as before


@pytest.mark.parametrize("fault", ["F2 open", "T2 primary-open", "T2 secondary-open", "J1 open", "R22 open"])
def test_without_heaters_the_valves_draw_nothing_and_the_high_tension_rises(
    pool: Pool,  # noqa: F811
    circuits: dict[str, Circuit],
    fault: str,
) -> None:
    well, cold = seen(pool, circuits["on AC"]), seen(pool, circuits["on AC"], fault)
    assert cold["C2 plus"][0] > well["C2 plus"][0]
    for anode in ("V1 pin 1", "V2 pin 1"):
        assert well[anode][0] < 0.75 * well["C2 plus"][0]
        assert cold[anode][0] == pytest.approx(cold["C2 plus"][0], rel=0.12)  # the load takes what is missing


def test_one_fuse_takes_high_tension_and_heaters_of_one_transformer(pool: Pool, circuits: dict[str, Circuit]) -> None:  # noqa: F811
    """Common practice, no source: the fuse is in the primary's way, so that all of it is gone; a winding is not."""
    shared, apart = circuits["shared"], circuits["on AC"]
    well, before = seen(pool, shared), seen(pool, apart)
    assert {name: each[0] for name, each in well.items()} == pytest.approx(
        {name: each[0] for name, each in before.items()}, rel=1e-3, abs=0.05
    )
    assert well["V1 pin 4"][1] == pytest.approx(before["V1 pin 4"][1], rel=1e-3)
    gone, no_tension, cold = (
        seen(pool, shared, fault) for fault in ("F1 open", "T1A secondary-open", "T1B secondary-open")
    )
    assert abs(gone["C1 plus"][0]) < 5
    assert gone["V1 pin 4"][1] < 0.1
    assert abs(no_tension["C1 plus"][0]) < 5
    assert no_tension["V1 pin 4"][1] == pytest.approx(well["V1 pin 4"][1], rel=0.05)
    assert cold["C2 plus"][0] > well["C2 plus"][0]
    assert cold["V1 pin 4"][1] < 0.1


def test_an_open_primary_takes_what_both_windings_feed(pool: Pool, circuits: dict[str, Circuit]) -> None:  # noqa: F811
    """Common practice, no source: a transformer has one primary, however many windings it feeds."""
    shared = circuits["shared"]
    rows = [fault for fault in listing(shared) if fault.mode == "primary-open" and fault.part.startswith("T1")]
    assert [[member.part for member in fault.members] for fault in rows] == [["T1A", "T1B"]]
    assert parse("T1B primary-open", shared) == rows[0]
    for fault in ("T1A primary-open", "T1B primary-open"):
        gone = seen(pool, shared, fault)
        assert abs(gone["C1 plus"][0]) < 5
        assert gone["V1 pin 4"][1] < 0.1


def test_a_fuse_ahead_of_all_supplies_takes_all_rails(pool: Pool, tmp_path: Path) -> None:  # noqa: F811
    one = head("A valve unit", "8R", "100k", "F1 2A") + bridge("T1A 230:290", "100u 450V", "100k")
    text = one + BIAS.replace('F = "F2 100mA"\n', "").replace('"T2 ', '"T1B ')
    (tmp_path / "unit.toml").write_text(text, encoding="utf-8")
    only = fuses(build(open_unit(tmp_path), pool))
    assert [(each.part, each.mains, set(each.rails)) for each in only] == [("F1", True, {"HT", "BR", "VB"})]


@pytest.mark.parametrize("fault", ["F1 open", "T1 secondary-open"])
def test_a_lost_high_tension_is_gone_however_slowly_its_bleeder_empties_it(
    pool: Pool,  # noqa: F811
    circuits: dict[str, Circuit],
    fault: str,
) -> None:
    """R C = 10 s of bleeder and reservoir, against 0.6 s that are followed."""
    lost = seen(pool, circuits["on AC"], fault)
    assert max(abs(lost[name][0]) for name in ("C1 plus", "C2 plus", "V1 pin 1")) < 1


def test_a_poor_contact_makes_the_valves_weak_and_not_dead(pool: Pool, circuits: dict[str, Circuit]) -> None:  # noqa: F811
    well, weak = seen(pool, circuits["on AC"]), seen(pool, circuits["on AC"], "J1 contact 5")
    assert weak["V1 pin 4"][1] < 0.8 * well["V1 pin 4"][1] or weak["V1 pin 5"][1] < 0.8 * well["V1 pin 5"][1]
    assert well["V1 pin 1"][0] < weak["V1 pin 1"][0] < 0.99 * weak["C2 plus"][0]


def test_tolerance_draws_are_as_cold_as_nominal(pool: Pool, circuits: dict[str, Circuit]) -> None:  # noqa: F811
    unit = circuits["on AC"]
    numbers = varied(unit)
    faults = [(parse(text, unit),) for text in ("J1 open", "V1A heater-open")]
    rows = pool.map(
        run_row, [RowTask(unit, fault, numbers, deviates(3, len(numbers), 1), 0, False) for fault in faults]
    )
    anodes = [list(unit.points).index(name) for name in ("V1 pin 1", "V2 pin 1")]
    both, first = (outcome.value.dc[:, anodes] for outcome in rows)
    assert (both > 240).all()
    assert (first[:, 0] > 240).all()
    assert (first[:, 1] < 200).all()


def test_only_the_valves_of_a_dc_heater_supply_go_cold_with_it(pool: Pool, circuits: dict[str, Circuit]) -> None:  # noqa: F811
    well, cold = seen(pool, circuits["on DC"]), seen(pool, circuits["on DC"], "R23 open")
    assert well["V1 pin 4"][0] == pytest.approx(6.3, rel=0.06)
    assert cold["V1 pin 4"][0] == pytest.approx(0, abs=0.05)
    assert cold["V1 pin 1"][0] == pytest.approx(cold["C2 plus"][0], rel=0.01)
    assert cold["V2 pin 1"][0] < 0.7 * cold["C2 plus"][0]


def test_a_bias_sets_the_pair_and_its_loss_takes_both_valves(pool: Pool, circuits: dict[str, Circuit]) -> None:  # noqa: F811
    """The bias is the divider's share of the raw rail; lost, each valve draws several times as much."""
    well = seen(pool, circuits["fixed bias"])
    divider = (33 + 11) / (15 + 22 + 33)
    assert well["RV1 wiper"][0] == pytest.approx(well["C10 minus"][0] * divider, rel=0.02)
    assert well["R50, hot end"][0] == pytest.approx(well["RV1 wiper"][0], abs=0.2)
    assert well["V2 pin 8"][0] == pytest.approx(well["V3 pin 8"][0], rel=0.01)
    for fault in ("RV1 wiper-open", "R30 open", "D10 open"):
        lost = seen(pool, circuits["fixed bias"], fault)
        assert abs(lost["R50, hot end"][0]) < 3
        for cathode in ("V2 pin 8", "V3 pin 8"):
            assert lost[cathode][0] > 3 * well[cathode][0]


def test_the_ripple_of_half_a_wave_stays_below_its_bound(pool: Pool, circuits: dict[str, Circuit]) -> None:  # noqa: F811
    volts, ripple = seen(pool, circuits["fixed bias"])["C10 minus"]
    bound = abs(volts) / 70e3 / (50 * 47e-6)
    assert 0.6 * bound < ripple < bound


def test_one_leaky_coupling_capacitor_upsets_one_valve_only(pool: Pool, circuits: dict[str, Circuit]) -> None:  # noqa: F811
    well, leaks = seen(pool, circuits["fixed bias"]), seen(pool, circuits["fixed bias"], "C42 leaky 4M7")
    assert leaks["R50, hot end"][0] > well["R50, hot end"][0] + 3
    assert leaks["V2 pin 8"][0] > 1.3 * well["V2 pin 8"][0]
    assert leaks["V3 pin 8"][0] == pytest.approx(well["V3 pin 8"][0], rel=0.1)
    assert np.isfinite(leaks["C1 plus"]).all()


@pytest.mark.parametrize(
    ("unit", "stage"),
    [
        ("on AC", "Heaters"),
        ("on DC", "Heaters"),
        ("bias alone", "Bias rectifier"),
        ("bias alone", "Bias"),
    ],
)
def test_every_failure_of_such_a_supply_can_be_followed(
    pool: Pool,  # noqa: F811
    circuits: dict[str, Circuit],
    unit: str,
    stage: str,
) -> None:
    """Each part and mode once: every test point has a voltage and a ripple."""
    once = {(fault.part, fault.mode): fault for fault in listing(circuits[unit]) if fault.stage == stage}
    outcomes = pool.map(look, [(circuits[unit], fault.label) for fault in once.values()])
    lost = [fault.label for fault, outcome in zip(once.values(), outcomes, strict=True) if outcome.error]
    lost += [fault.label for fault, outcome in zip(once.values(), outcomes, strict=True)
             if not outcome.error and not np.isfinite(outcome.value).all()]  # fmt: skip
    assert lost == []
