"""Each netlist of the corpus, imported, against ngspice running it as it came, in the compatibility mode of its style.

What ngspice reads wrongly in any mode is written out in the copy that it runs: the list of it stands here.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from lostgain.bench.check import check
from lostgain.circuit import build
from lostgain.circuit.model import driven
from lostgain.engine import Pool
from lostgain.faults.parse import parse
from lostgain.netlists import import_netlist
from lostgain.netlists.measure import Run, measured
from lostgain.netlists.write import write_unit
from lostgain.problems import Where
from lostgain.signatures.predict import predict
from lostgain.unit import open_unit
from tests.netlists import original

CORPUS = Path(__file__).with_name("corpus")
#: 4k7 reads as 4k, and in a capacitor 4u7 as 4u; µ and § are no letters of it.
_LETTERS = [("1k5", "1.5k"), ("2k2", "2.2k"), ("3k3", "3.3k"), ("4K7", "4.7k"), ("1k2", "1.2k"), ("4u7", "4.7u")]

#: Aliases (ako:) need a mode in which files have no sections.
_ONE_SECTION = [
    *_LETTERS, (".lib 'transistors.lib' audio", ".include transistors.lib"), (".lib audio", ""), (".endl audio", ""),
    (".lib other\n.model QDRV NPN(bf=1)\n.endl", ""),
]  # fmt: skip

#: Netlist: mode, what is written out, a fault, and nodes as the netlist calls them with what the unit calls them.
CASES = {
    "plain/line.cir": ("", [], "R3 open", {"a": "a", "c": "c", "w": "w", "out": "out"}),
    "dollar/mixer.cir": (
        "psa",
        [
            ("R_R1 R1(1=$N_0001 2=$N_0002 )", ""),
            (".ALIASES", ""),
            (".ENDALIASES", ""),
            ("1k5", "1.5k"),
            ("EGND 99 0 POLY(2) (3,0) (4,0) 0 .5 .5", "BGND 99 0 V=0.5*V(3)+0.5*V(4)"),
            ("$ polystyrene", ""),
            ("$N_", "N_"),
            ("15Vdc", "15"),
            ("TC=50u,0", ""),
        ],
        "C1 open",
        {"sum": "sum", "n_0004": "n_0004", "n_0006": "n_0006", "out": "out"},
    ),
    "windows/tone.net": (
        "ltpsa",
        [
            ("µ", "u"),
            ("§", "_"),
            ("XU1 N002", "RSRC N001 NSRC 600\nRSER1 N001 NC1 20m\nRSER2 N005 NC2 0.4\nXU1 N002"),
            ("V3 N001", "V3 NSRC"),
            ("AC 1 Rser=600", "AC 1"),
            ("C1 N001 N002 1u V=50 Irms=0.1 Rser=20m mfg=\"invented\" type=\"Film\"", "C1 NC1 N002 1u"),
            ("C2 N005 N004 22u V=25 Rser=0.4", "C2 NC2 N004 22u"),
            (" V=25", ""),
            ("tol=1 pwr=0.25", ""),
            ("10k tol=1", "10k"),
            ("2k2", "2.2k"),
            ("\n.subckt pot 1 2 3", "\n.subckt pot 1 2 3 R=1 T=.5"),
            (".lib C:\\users\\bench\\standard.bjt", ""),
        ],
        "C3 open",
        {"n002": "n002", "n004": "n004", "n006": "n006", "n008": "n008", "out": "out"},
    ),
    "sheets/desk.cir": (
        "psa",
        [
            ("in out p n\n", "in out p n params: rgain=1\n"),
            ("Net-(C1-Pad2)", "c1pad2"),
            ("TP1 /insert TestPoint", ""),
            ("J1 /strip/eq_out GND Conn_01x02", ""),
        ],
        "R5_SHEET1 open",
        {"/mic": "mic", "/insert": "insert", "net-_r2-pad1_": "r2_pad1", "/strip/eq_out": "strip_eq_out",
         "xsheet2.inv": "sheet2_inv", "/fader_out": "fader_out"},
    ),
    "discrete/headphone.cir": (
        "psa", _LETTERS, "Q2 ce-short",
        {"in": "in", "b1": "b1", "c1": "c1", "e1": "e1", "e2": "e2", "phones": "phones"},
    ),
    "power/amp.cir": (
        "psa", _ONE_SECTION, "R10 open", {"t1": "t1", "out": "out", "e5": "e5", "fb": "fb", "spk": "spk"},
    ),
    "halves/single.cir": (
        "ps",
        [("E2 8 0 TABLE {V(7,0)} = (0,0.1) (11.9,11.9) (12,12)", "B2 8 0 V=pwl(V(7),0,0.1,11.9,11.9,12,12)"),
         ("PWL(0 0 10m 12)", "12")],
        "C2 open",
        {"vref": "vref", "n2": "n2", "a_out": "a_out", "b_out": "b_out", "line_out": "line_out"},
    ),
    "jfet/instrument.cir": (
        "psa",
        [*_LETTERS, ("RV1 vol wip 0 100k .25", "RV1A vol wip 75k\nRV1B wip 0 25k")],
        "J1 d-open",
        {"g1": "g1", "d1": "d1", "wip": "wip", "eq": "eq", "out": "out"},
    ),
    "ideal/filter.cir": ("", [], "C3 open", {"b": "b", "out1": "out1", "d": "d", "output": "output"}),
}  # fmt: skip


def as_it_came(name: str, folder: Path) -> Path:
    """Copy a netlist and what it includes, with what ngspice cannot read written out."""
    _mode, written, _, _ = CASES[name]
    source = CORPUS / name
    shutil.copytree(source.parent, folder)
    for file in folder.rglob("*"):
        if file.is_file():
            text = file.read_bytes().decode("cp1252" if b"\xb5" in file.read_bytes() else "utf-8").replace("\r", "")
            for old, new in written:
                text = text.replace(old, new)
            text = re.sub(r"^\.(save|probe|step).*", "", text, flags=re.MULTILINE | re.IGNORECASE)  # they hide nodes
            file.write_text(text, encoding="ascii")
    return folder / source.name


@pytest.mark.parametrize("name", CASES)
def test_healthy_levels_are_those_of_the_original(name: str, tmp_path: Path, pool: Pool) -> None:
    mode, _, _, nodes = CASES[name]
    found = import_netlist(CORPUS / name, pool=pool)
    write_unit(found, tmp_path / "unit")
    circuit = build(open_unit(tmp_path / "unit"), pool)
    level = circuit.unit.setup.generator
    for frequency in (40.0, 1000.0, 10e3):
        flat = driven(circuit.flat, level, frequency, circuit.unit.setup.start_dc)
        unit = measured(Run(tuple(flat.lines()), frequency), pool, Where())
        item = (str(as_it_came(name, tmp_path / f"{frequency:g}")), mode, frequency, tuple(nodes))
        outcome = pool.map(original.run, [item])[0]
        assert outcome.error is None, "\n".join([outcome.error, *outcome.said])
        magnitude = 0.1 if name == "discrete/headphone.cir" else 1.0
        loudest = max(ac for _, ac in outcome.value.values()) / magnitude * level
        for theirs, ours in nodes.items():
            dc, ac = outcome.value[theirs]
            assert unit.dc[ours] == pytest.approx(dc, rel=2e-3, abs=2e-3), theirs
            # a milliohm in front of each rail, and in the pins of parts, is what the unit has more
            assert unit.level[ours] == pytest.approx(ac / magnitude * level, rel=2e-3, abs=5e-4 * loudest), theirs


@pytest.mark.parametrize("name", CASES)
def test_it_checks_builds_and_predicts(name: str, tmp_path: Path, pool: Pool) -> None:
    found = import_netlist(CORPUS / name, pool=pool)
    write_unit(found, tmp_path / "unit")
    unit = open_unit(tmp_path / "unit")
    checked = check(unit, pool)
    assert checked.faults > 20
    assert unit.doubts == ()
    assert found.worst < 0.01
    failure = predict(checked.circuit, [parse(CASES[name][2], checked.circuit)], pool)
    before, after = failure.healthy.level, failure.faulty.level
    assert abs(after - before).max() > 0.05 * before.max() or abs(failure.faulty.dc - failure.healthy.dc).max() > 0.5
