"""``scripts/bench speed``: what a signature table costs, as ratios, and whether it is the same as a plain build's."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from benchmarks.speed_build import whole
from benchmarks.speed_floor import Floor, measure, plain_seconds, ratios
from benchmarks.speed_growth import growth
from benchmarks.speed_naive import naive_seconds
from benchmarks.speed_part import Part, part
from benchmarks.speed_same import same_answer
from benchmarks.speed_start import cli_start
from benchmarks.speed_text import speed_text
from lostgain.circuit import build
from lostgain.signatures.build import by_drive
from lostgain.unit import open_unit

Say = Callable[[str], None]

DEMO, SMALL = "ferry-terminal", "state-variable-filter"


@dataclass(frozen=True)
class Size:
    """How much is measured.

    Parameters
    ----------
    faults, strays : int
        Rows of the part that is run both ways.
    compare : int
        Faults among them whose answers are compared.
    rows : int
        Faults simulated of each chain.
    chains : tuple of int
        Stages of the chains.
    starts : int
        Turns of the command's start.
    """

    faults: int
    strays: int
    compare: int
    rows: int
    chains: tuple[int, ...]
    starts: int


FULL = Size(40, 10, 40, 12, (1, 2, 4, 8, 16), 11)
QUICK = Size(8, 3, 8, 4, (1, 4, 16), 3)


def speed(units: list[str], size: Size, seed: int, file: Path, say: Say) -> dict[str, object]:
    """Run the benchmark and write its figures.

    Parameters
    ----------
    units : list of str
        Units whose tables are built; the first is the one that the figures without a unit are taken on.
    size : Size
    seed : int
        Of the rows drawn.
    file : Path
        Where the figures go, as JSON.
    say : callable
        Takes progress, a line at a time.
    """
    found: dict[str, object] = {"units": {}}
    by_unit = found["units"]
    assert isinstance(by_unit, dict)
    for name in units:
        drawn = [part(each, size.faults, size.strays, seed) for each in by_drive(build(open_unit(name)))]
        by_unit[name] = one_unit(name, drawn, size, say)
    say("growth with the number of stages")
    found["growth"] = growth(size.rows, size.chains)
    say("start of the command")
    found.update(cli_start(size.starts))
    record = {"made_by": "scripts/bench speed", "size": asdict(size), "seed": seed, **found}
    file.write_text(json.dumps(record, indent=1), encoding="utf-8")
    print(speed_text(found))
    say(f"Figures written to {file}.")
    return found


def one_unit(name: str, drawn: list[Part], size: Size, say: Say) -> dict[str, object]:
    """Return the figures of one unit's table.

    Parameters
    ----------
    name : str
    drawn : list of Part
        Rows of each part it is put together from: the set-up's own generator level, then the further ones.
    size : Size
    say : callable
    """
    floors, naive = [], []
    for number, one in enumerate(drawn, 1):
        of = f", part {number} of {len(drawn)}" if len(drawn) > 1 else ""
        say(f"{name}{of}: {len(one.faults)} of {one.all_faults} faults and {len(one.strays)} of {one.all_strays} "
            "stray paths, both ways")  # fmt: skip
        floors.append(measure(one, size.compare, say))
        say(f"{name}{of}: a loop with PySpice")
        naive.append(naive_seconds(one))
    say(f"{name}: the whole table, by two workers and by one")
    built, alone = whole(name, 2), whole(name, 1)
    compared = [row for floor in floors for row in floor.compared]
    return {**_ratios(list(zip(floors, drawn, strict=True)), built, naive, alone), "build": built, "naive": naive,
            "build_alone": alone, "same_answer": same_answer(compared),
            "dearest_rows": [row for floor in floors for row in floor.dear],
            "left_out": [row for floor in floors for row in floor.lost]}  # fmt: skip


def _ratios(
    measured: list[tuple[Floor, Part]], built: dict[str, float], naive: list[dict[str, float]], alone: dict[str, float]
) -> dict[str, object]:
    """Return the ratios that the table is judged by.

    Only `core_scaling` is of times that pass, of the whole table by one worker and by two: it wants a quiet machine.
    """
    plain = sum(plain_seconds(floor, one) for floor, one in measured)
    parts = ratios(measured)
    scaling = alone["seconds"] / built["seconds"]
    ours_on_two = built["processor_seconds"] / scaling
    loop = sum(plain_seconds(floor, one) * each["a_circuit"] / each["bare"]
               for each, (floor, one) in zip(naive, measured, strict=True))  # fmt: skip
    return {
        "floor_ratio": {**parts, "with_everything_else": built["processor_seconds"] / plain},
        "plain_seconds": plain,
        "naive_ratio": loop / ours_on_two,
        "core_scaling": scaling,
        "rss_mb": built["rss_mb"],
        "table_mb": built["table_mb"],
    }
