"""From a unit to a proved flat circuit: stages in a chain and netlists alike."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.circuit.build import _prove
from lostgain.engine import CircuitRefused, Pool
from lostgain.problems import UserError
from lostgain.unit import open_unit
from tests.circuit import tasks
from tests.circuit.units import AMPLIFIER, COUPLING, HEAD, NETLIST, make, netlist_stage


def level(pool: Pool, circuit: Circuit, frequencies: tuple[float, ...] = (500.0,)) -> np.ndarray:
    """Small-signal levels at the test points: array, (point, frequency) [V rms]."""
    item = (circuit.flat, list(circuit.points.values()), frequencies)
    return np.asarray(pool.map(tasks.levels, [item])[0].value)


def dc(pool: Pool, circuit: Circuit) -> dict[str, float]:
    """DC at the test points [V]."""
    values = pool.map(tasks.voltages, [(circuit.flat, list(circuit.points.values()))])[0].value
    return dict(zip(circuit.points, values, strict=True))


def high_pass(frequency: float, ohms: float, farads: float) -> float:
    """Gain of a series capacitor into a resistor (textbook)."""
    turn = 2j * np.pi * frequency * ohms * farads
    return float(abs(turn / (1 + turn)))


def test_a_chain_of_library_stages_gives_the_closed_form(tmp_path: Path, pool: Pool) -> None:
    circuit = build(make(tmp_path, COUPLING), pool)
    out = level(pool, circuit, (500.0, 40.0, 15.9))[1]
    assert out == pytest.approx([high_pass(f, 10e3, 1e-6) for f in (500, 40, 15.9)], rel=1e-3)


def test_the_same_circuit_as_netlist_as_stage_and_as_library_stage_is_the_same(tmp_path: Path, pool: Pool) -> None:
    body = "C1 in out 1u\nR1 out 0 10k\n"
    stage = HEAD + '[[stage]]\nname = "A"\nnetlist = "a.cir"\nsubckt = "Couple"\nports = ["in", "0", "out"]\n'
    stage += '[stage.points]\nhot = "Input"\ncold = "R1, hot end"\n'
    units = [
        make(tmp_path / "1", COUPLING),
        make(tmp_path / "2", stage, a=f".SUBCKT Couple hot gnd1 cold\n{body}.ENDS\n".replace("in out", "hot cold")
             .replace("out 0", "cold gnd1")),
        make(tmp_path / "3", NETLIST + '[[point]]\nname = "I"\nnode = "in"\n[[point]]\nname = "O"\nnode = "out"\n',
             board=f"title\n{body}"),
    ]  # fmt: skip
    circuits = [build(unit, pool) for unit in units]
    first, *others = [level(pool, circuit, (40.0, 500.0)) for circuit in circuits]
    for other in others:
        assert other == pytest.approx(first, rel=1e-9)
    for circuit in circuits:
        assert set(circuit.parts) == {"C1", "R1"}
        assert circuit.flat.elements[circuit.parts["C1"].element].value == pytest.approx(1e-6)
        assert circuit.node_of("C1", "2") == circuit.node_of("R1", "1")
        assert circuit.node_of("R1", "2") == "0"


NESTED = """
.param top=2k
.model dd d(is=1e-14)
.subckt pad a b params: R = {top}
.param half={R/2}
.model dd d(is=1e-9)
.subckt leg a b
R1 a b {half}
.ends leg
Rin a b {R}
X1 a b leg
D1 a b dd
.ends pad
Vtest in 0 5
Rtest in 0 1
"""


def test_nested_subcircuits_parameters_and_models_of_a_file_stay_inside_it(tmp_path: Path, pool: Pool) -> None:
    """Two files with one name for two things; loose elements of a file are its author's test bench."""
    text = HEAD + "".join(
        f'[[stage]]\nname = "{name}"\nnetlist = "{file}.cir"\nsubckt = "pad"\nports = ["in", "out"]\n'
        f'parts = {{ RIN = "R{number}", D1 = "D{number}" }}\n'
        for number, (name, file) in enumerate([("One", "a"), ("Two", "b"), ("Again", "a")], 1)
    )
    unit = make(tmp_path, text, a=NESTED, b=NESTED.replace("top=2k", "top=6k").replace("1e-9", "1e-12"))
    circuit = build(unit, pool)
    flat = circuit.flat
    assert [flat.elements[circuit.parts[f"R{n}"].element].value for n in (1, 2, 3)] == [2000, 6000, 2000]
    halves = [element.value for name, element in flat.elements.items() if name.endswith(".x1.r1")]
    assert halves == [1000, 3000, 1000]
    saturation = [flat.models[flat.model_of(circuit.parts[f"D{n}"].element)] for n in (1, 2, 3)]
    assert [text.split("is=")[1].rstrip(")") for text in saturation] == ["1e-9", "1e-12", "1e-9"]
    assert not any("test" in name for name in flat.elements)


def test_names_in_other_letters_and_cases(tmp_path: Path, pool: Pool) -> None:
    text = COUPLING.replace('name = "Coupling"', 'name = "Вход 1"') + (
        '[[stage]]\nname = "Тон"\nuse = "stand-in"\ngain = "2"\ndc = "1 V"\n'
        '[[stage]]\nname = "Ünïon B"\nuse = "stand-in"\ngain = "-3"\ndc = "0 V"\n[stage.points]\nout = "Выход"\n'
        '[[stage]]\nname = "Бас"\nuse = "stand-in"\ngain = "1"\ndc = "2 V"\n[stage.points]\nout = "TP9"\n'
    )
    circuit = build(make(tmp_path, text), pool)
    out = level(pool, circuit)
    assert out[list(circuit.points).index("Выход")][0] == pytest.approx(6 * high_pass(500, 10e3, 1e-6), rel=2e-2)
    assert dc(pool, circuit)["TP9"] == pytest.approx(2, abs=1e-3)  # whatever comes in


def test_an_opamp_has_a_pin_resistor_at_each_pin_and_the_rails_their_fuse(tmp_path: Path, pool: Pool) -> None:
    circuit = build(make(tmp_path, AMPLIFIER), pool)
    place = circuit.parts["U1A"]
    assert list(place.pins) == ["inp", "inn", "vp", "vn", "out"]
    assert {circuit.flat.elements[pin.element].value for pin in place.pins.values()} == {1e-3}
    assert circuit.node_of("U1A", "vp") == "vp"
    assert circuit.node_of("U1A", "out") == circuit.points["U1 pin 1"] == circuit.node_of("R2", "1")
    assert circuit.node_of("U1A", "inn") == circuit.points["U1 pin 2"]
    fuse = circuit.parts["F1"]
    assert fuse.part.stage == "supply"
    assert circuit.flat.elements[fuse.element].nodes == ("vp_fused", "vp")
    assert level(pool, circuit)[2][0] == pytest.approx(1.1, rel=1e-3)  # 100 mV · (1 + 22k/2k2)
    assert dc(pool, circuit)["U1 pin 1"] == pytest.approx(0, abs=0.01)


def test_a_chain_may_start_at_a_test_point_with_dc_on_it(tmp_path: Path, pool: Pool) -> None:
    text = COUPLING.replace('source = "0R001"', 'source = "10k"\nstart = "TP1"\nstart_dc = "6 V"')
    circuit = build(make(tmp_path, text), pool)
    assert dc(pool, circuit) == pytest.approx({"Input": 6, "R1, hot end": 0}, abs=1e-6)
    assert level(pool, circuit, (10e3,))[1][0] == pytest.approx(0.5, rel=1e-3)  # 10k of the source before 10k


@pytest.mark.parametrize(("position", "share"), [("-6 dB", 10 ** (-6 / 20)), ("half", 0.5), ("full", 1.0), ("off", 0)])
def test_a_level_control_passes_what_its_setting_says(tmp_path: Path, pool: Pool, position: str, share: float) -> None:
    text = f'{HEAD}[setup.controls]\nRV1 = "{position}"\n[[stage]]\nname = "Level"\n'
    text += 'use = "level"\nRV = "RV1 10k linear"\n'
    circuit = build(make(tmp_path, text + '[stage.points]\nout = "Wiper"\n'), pool)
    assert level(pool, circuit)[0][0] == pytest.approx(share, abs=1e-3)


def test_the_netlists_own_generator_gives_way_and_its_supplies_stay(tmp_path: Path, pool: Pool) -> None:
    board = """title
VIN IN gnd 7 AC 3
Vcc vcc 0 12
R1 in out 1k
R2 vcc out 1k
RLOAD out 0 1k
X1 out 0 part
.subckt part a b
V1 in 0 1
R1 in 0 1k
R2 a b 1meg
.ends
"""
    text = NETLIST + '[[point]]\nname = "TP1"\nnode = "OUT"\n[[point]]\nname = "TP2"\nnode = "Vcc"\n'
    circuit = build(make(tmp_path, text, board=board), pool)
    assert dc(pool, circuit) == pytest.approx({"TP1": 4, "TP2": 12}, rel=1e-3)
    assert level(pool, circuit)[0][0] == pytest.approx(1 / 3, rel=1e-3)
    assert "v.x1.v1" in circuit.flat.elements  # a source inside a subcircuit is not at the unit's input


def test_explicit_pins_may_be_called_anything(tmp_path: Path, pool: Pool) -> None:
    board = "title\nXu1 in fb vp vn out opamp-jfet\nR1 out fb 1k\nR2 fb 0 1k\n"
    text = NETLIST + (
        '[rails]\nVP = "12 V"\nVN = "-12 V"\n[parts]\nXU1 = { kind = "opamp", as = "U1A", pins = ["IN+", "inn", "vp",'
        ' "vn", "OUT"] }\n[[point]]\nname = "out"\nnode = "out"\n'
    )
    circuit = build(make(tmp_path, text, board=board), pool)
    assert circuit.node_of("U1A", "IN+") == "in"
    assert circuit.node_of("U1A", "OUT") == "out"
    assert level(pool, circuit)[0][0] == pytest.approx(2, rel=1e-3)


def test_poly_and_table_sources_of_a_netlist_are_simulated(tmp_path: Path, pool: Pool) -> None:
    """Ten times the input by a polynomial, half of that by a table: 5 at the output, but for the generator's 50 ohm."""
    board = (
        "title\nR1 in 0 1meg\nE1 mid 0 POLY(1) in 0 0 10\nE2 out 0 TABLE {v(mid)} = (-100,-50) (100,50)\nR2 out 0 1k\n"
    )
    text = NETLIST + '[[point]]\nname = "TP1"\nnode = "out"\n'
    circuit = build(make(tmp_path, text, board=board), pool)
    drive = circuit.unit.setup.generator
    assert level(pool, circuit)[0][0] == pytest.approx(5 * drive, rel=1e-2)


@pytest.mark.parametrize(
    ("board", "line", "message"),
    [
        ("title\nR1 in out 1k\nR2 out 0 1k\nC3 out aif 1u\n", 4, "'aif' hangs in the air: only C3"),
        ("title\nR1 in out 1k\nR2 out 0 1k\nC3 out mid 1u\nC4 mid 0 1u\n", 4, "'mid' hangs in the air for DC"),
        ("title\nR1 in out 1k\nR2 out 0 1k\nX9 out 0 fliter\n.subckt filter a b\nR1 a b 1\n.ends\n", 4, "Did you mean"),
        ("title\nR1 in out 1k\nR2 out 0 1k\nQ1 out in 0 nosuch\n", 4, "nosuch"),
    ],
)
def test_slips_in_a_netlist_are_said_with_file_and_line(
    tmp_path: Path, pool: Pool, board: str, line: int | None, message: str
) -> None:
    with pytest.raises(UserError) as caught:
        build(make(tmp_path, NETLIST, board=board), pool)
    problem = caught.value.problems[0]
    assert message in str(problem)
    assert problem.where.file == tmp_path / "board.cir"
    assert problem.where.line == line


def test_a_rail_that_feeds_nothing_is_said_where_it_stands(tmp_path: Path, pool: Pool) -> None:
    text = NETLIST + '[rails]\nVPP = "12 V"\n'
    with pytest.raises(
        UserError, match=r"unit\.toml, line \d+: rail VPP feeds nothing: .*no node 'vpp'.*called vp"
    ) as caught:
        build(make(tmp_path, text, board="title\nR1 in out 1k\nR2 out 0 1k\nR3 vp out 1k\nR4 vp 0 1k\n"), pool)
    assert caught.value.problems[0].where.file == tmp_path / "unit.toml"


def test_a_loose_end_in_a_stage_is_found_as_in_a_whole_netlist(tmp_path: Path, pool: Pool) -> None:
    text = HEAD + netlist_stage("A")
    with pytest.raises(UserError, match=r"a\.cir, line 4: node 'baes' hangs in the air: only R3 .* Did you mean base"):
        build(make(tmp_path, text, a=".subckt a in out\nR1 in base 1k\nR2 base out 1k\nR3 base baes 1k\n.ends\n"), pool)


def test_a_test_point_on_no_node_is_told_with_the_nearest_node(tmp_path: Path, pool: Pool) -> None:
    text = NETLIST + '[[point]]\nname = "TP1"\nnode = "ot"\n'
    with pytest.raises(UserError, match=r"TP1.*no node of the circuit.*Did you mean out") as caught:
        build(make(tmp_path, text, board="title\nR1 in out 1k\nR2 out 0 1k\n"), pool)
    assert caught.value.problems[0].where.file == tmp_path / "unit.toml"


def test_a_point_on_a_node_called_in_is_there_even_if_the_input_is_elsewhere(tmp_path: Path, pool: Pool) -> None:
    text = NETLIST.replace('input = "in"', 'input = "src"') + '[[point]]\nname = "TP1"\nnode = "in"\n'
    circuit = build(make(tmp_path, text, board="title\nR1 src in 1k\nR2 in out 1k\nR3 out 0 2k\n"), pool)
    assert circuit.points["TP1"] == "in"
    assert level(pool, circuit)[0][0] == pytest.approx(0.75, rel=1e-3)


@pytest.mark.parametrize("rail", ["IN", "GND"])
def test_a_rail_cannot_have_the_name_of_another_node(tmp_path: Path, pool: Pool, rail: str) -> None:
    text = COUPLING + f'[rails]\n{rail} = "15 V"\n'
    with pytest.raises(UserError, match=rail):
        build(make(tmp_path, text), pool)


def test_the_proof_fails_for_a_flat_circuit_that_was_altered(tmp_path: Path, pool: Pool) -> None:
    circuit = build(make(tmp_path, AMPLIFIER), pool)
    nodes = circuit.flat.nodes()

    def fingerprint(flat: object) -> np.ndarray:
        found = [pool.map(tasks.voltages, [(flat, nodes)])[0].value[:, None],
                 pool.map(tasks.levels, [(flat, nodes, (500.0, 40.0))])[0].value]  # fmt: skip
        return np.hstack(found)

    original = fingerprint(circuit.flat)
    _prove(original, original * (1 + 9e-7), circuit.flat)
    altered = circuit.flat.with_values({circuit.parts["R2"].element: 22e3 * (1 + 1e-4)})
    with pytest.raises(CircuitRefused, match="differs from the original: level at node"):
        _prove(original, fingerprint(altered), circuit.flat)
    with pytest.raises(CircuitRefused, match="DC at node"):
        _prove(original, original + np.array([[2e-6, 0, 0]]) * np.abs(original), circuit.flat)


def test_a_unit_may_be_named_from_where_one_stands(monkeypatch, tmp_path: Path, pool: Pool) -> None:
    """Workers read its netlist too, and stand elsewhere."""
    shutil.copytree(Path(__file__).resolve().parents[1] / "units" / "filter", tmp_path / "filter")
    monkeypatch.chdir(tmp_path)
    assert build(open_unit("filter"), pool).points
