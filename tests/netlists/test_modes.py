"""What other programs' expressions, models and switches become, against ngspice in the compatibility mode for them.

No mode is set when lostgain runs: each of these lines was measured to fail, or to read wrongly, without one.
"""

from __future__ import annotations

import pytest

from lostgain.engine import Pool
from lostgain.netlists.deck import sort_cards
from lostgain.netlists.definitions import definitions
from lostgain.netlists.model import Card, Notes
from lostgain.netlists.names import name_all
from lostgain.netlists.sheets import flatten
from lostgain.problems import Where
from tests.netlists import original

IN = "V1 in 0 1.3"
CASES = {
    "if": ("psa", [IN, "R1 in 0 1k", "B1 out 0 V={if(V(in)>0.5,0.4,0.1)}", "R2 out 0 1k"]),
    "limit": ("psa", [IN, "R1 in 0 1k", "B1 out 0 V={limit(V(in),0,0.6)}", "R2 out 0 1k"]),
    "limit in a value": ("psa", [IN, "R1 in out {limit(2k,0,1k)}", "R2 out 0 1k"]),
    "uplim": ("lta", [IN, "R1 in 0 1k", "B1 out 0 V={uplim(V(in),1.4,0.3)}", "R2 out 0 1k"]),
    "dnlim": ("lta", [IN, "R1 in 0 1k", "B1 out 0 V={dnlim(V(in),1.2,0.3)}", "R2 out 0 1k"]),
    "and, or": ("psa", [IN, "R1 in 0 1k", "E1 out 0 VALUE={if(V(in)>0.5 & V(in)<2 | V(in)>9,0.5,0)}", "R2 out 0 1k"]),
    "temp": ("psa", [IN, "R1 in out {1k*(1+0.01*(temp-20))}", "R2 out 0 1k"]),
    "tc": ("psa", [".options temp=77", IN, "R1 in out 1k TC=0.01,0", "R2 out 0 1k"]),
    "ako": ("psa", [".model qb npn(bf=100 is=1e-14)", ".model qa ako:qb npn(bf=50)", "V1 v 0 10", "Q1 v b out qa",
                    "R1 v b 100k", "R2 out 0 1k"]),
    "words in a model": ("psa", [".model d1 d(is=1e-14 mfg=abc type=silicon vpk=50)", IN, "R1 in out 1k",
                                 "D1 out 0 d1"]),
    "params without a mark": ("psa", [".subckt s a b params: r=1 q=1", "R1 a b {r*q}", ".ends", IN,
                                      "X1 in out s r=500 q=2", "R2 out 0 1k"]),
    "switch": ("", [".model sm sw(ron=1k roff=1meg vt=1.5 vh=0)", IN, "S1 in out c 0 sm", "V2 c 0 5", "R2 out 0 1k"]),
}  # fmt: skip
#: Written differently for the import: ngspice's own mode for this switch needs code models.
IMPORTED = {"switch": [".model sm vswitch(ron=1k roff=1meg von=2 voff=1)", *CASES["switch"][1][1:]]}


def translated(lines: list[str]) -> list[str]:
    """What an import makes of lines."""
    notes = Notes()
    where = Where()
    deck = sort_cards([Card(line, where) for line in lines], "", None, notes)  # type: ignore[arg-type]
    pieces = name_all(flatten(deck, notes), notes)
    return [piece.line for piece in pieces] + definitions(deck, pieces, notes)


@pytest.mark.parametrize("name", CASES)
def test_as_in_the_mode_made_for_it(name: str, pool: Pool) -> None:
    mode, lines = CASES[name]
    theirs, ours = (
        pool.map(original.lines, [item])[0].value
        for item in ((lines, mode, ("out",)), (translated(IMPORTED.get(name, lines)), "", ("out",)))
    )
    assert isinstance(theirs, list), theirs
    assert isinstance(ours, list), ours
    assert ours == pytest.approx(theirs, rel=1e-6)
    assert abs(ours[0]) > 1e-3


#: What default ngspice, too, can do.
BOTH = ("limit in a value", "params without a mark")


@pytest.mark.parametrize("name", [name for name in CASES if CASES[name][0] and name not in BOTH])
def test_without_a_mode_it_fails_or_reads_wrongly(name: str, pool: Pool) -> None:
    mode, lines = CASES[name]
    with_mode, without = (pool.map(original.lines, [(lines, each, ("out",))])[0].value for each in (mode, ""))
    assert isinstance(without, str) or without != pytest.approx(with_mode, rel=1e-3)
