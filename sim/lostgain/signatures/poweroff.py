"""The power-off part of a signature table: built when it is first asked for, beside the table and by its own key.

Each instrument has a part of its own, of the places where it is usually put, and further ones for places asked for by
name. The powered table's key and numbers do not change by it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from contextlib import ExitStack, closing
from dataclasses import astuple, dataclass, replace
from typing import Any

from lostgain.circuit import Circuit
from lostgain.engine import Pool, Session
from lostgain.faults import Fault, Stray
from lostgain.faults.catalogue import modes_for
from lostgain.readings import instruments
from lostgain.readings.model import OFF, Instrument, Reading
from lostgain.readings.words import quantities as facts_of
from lostgain.signatures.build import DRAWS, SEED
from lostgain.signatures.draws import CUT, deviates, varied
from lostgain.signatures.file import tidy
from lostgain.signatures.kept import Kept
from lostgain.signatures.poweroff_circuit import varied_off
from lostgain.signatures.poweroff_esr import esr_table
from lostgain.signatures.poweroff_facts import Facts, facts
from lostgain.signatures.poweroff_meter import Meter
from lostgain.signatures.poweroff_places import Place, named, usual
from lostgain.signatures.poweroff_row import FAULT_DRAWS, JOINTS, run_off_row
from lostgain.signatures.poweroff_table import OffTable, assembled_off, load_off, save_off
from lostgain.signatures.poweroff_task import OffRow, OffTask, empty_row
from lostgain.signatures.simulate import FAULTS, same_versions, simulated_or_kept
from lostgain.signatures.store import alone, cannot_keep, folder
from lostgain.signatures.table import Table
from lostgain.unit.library import device

Progress = Callable[[int, int], None]

#: Raised whenever the same inputs would give other numbers than before.
METHOD = 1
#: Tolerance draws: the first of the powered table's.
OFF_DRAWS = 8
#: Longest time a row may take [s].
ROW_LIMIT = 60.0
#: Power-off parts of one unit that are kept: some for each of its tables.
PARTS = 48


def power_off(
    table: Table,
    readings: Iterable[Reading] = (),
    quantities: Iterable[str] = (),
    pool: Pool | Executor | None = None,
    progress: Progress | None = None,
    build: bool = True,
) -> Table:
    """Return a table with the power-off parts that some readings need.

    Parameters
    ----------
    table : Table
    readings : iterable of Reading
        Taken, or wanted. Places among them where their instrument is not usually put get a part of their own.
    quantities : iterable of str
        Of `lostgain.readings.model.OFF`: their usual instruments at their usual places as well.
    pool : Pool, concurrent.futures.Executor or None
        Workers to use, or who looks after them; started if needed.
    progress : callable or None
        Called with rows done and rows in all, when there is something to simulate.
    build : bool
        False opens what was built before, and simulates nothing.

    Raises
    ------
    UserError
        If a part cannot be kept where tables are kept, or the unit's own ``poweroff.toml`` has mistakes.
    """
    circuit = table.circuit
    known = instruments(circuit.unit.folder)
    asked = [each for each in readings if each.quantity in OFF]
    usual_ones = [(facts_of()[each].instrument, each) for each in quantities]
    wanted = dict.fromkeys([*usual_ones, *((each.instrument, each.quantity) for each in asked)])
    if not wanted:
        return table
    stated, off = facts(circuit.unit), table.off
    for name, quantity in wanted:
        about = (known[name], quantity)
        part = _part(table, stated, about, tuple(usual(circuit, quantity)), pool, progress, build)
        off = off if part is None else off.with_part(part)
        mine = [each for each in asked if (each.instrument, each.quantity) == (name, quantity)]
        more = [named(circuit, each) for each in mine if off.spot(*place_of(each)) is None]
        if extra := tuple(place for place in dict.fromkeys(more) if place is not None):
            part = _part(table, stated, about, extra, pool, progress, build)
            off = off if part is None else off.with_part(part)
    return replace(table, off=off) if off is not table.off else table


def place_of(reading: Reading) -> tuple[str, str, str, bool]:
    """Return what a power-off part knows a reading's place by."""
    return reading.instrument, reading.point, reading.against, reading.lifted


def meter_of(instrument: Instrument, quantity: str) -> Meter:
    """Return what a power-off part needs to know of an instrument."""
    return Meter(
        quantity, instrument.open_volts, instrument.ranges or Meter(quantity).ranges, instrument.wait,
        instrument.test_frequency, instrument.shows,
    )  # fmt: skip


def _part(
    table: Table, stated: Facts, about: tuple[Instrument, str], places: tuple[Place, ...],
    pool: Pool | Executor | None, progress: Progress | None, build: bool,
) -> OffTable | None:  # fmt: skip
    """Open a power-off part, or build it; None where neither is to be done, or there is no place to read at."""
    if not places:
        return None
    circuit, instrument = table.circuit, about[0]
    meter = meter_of(*about)
    key = _key(circuit, stated, meter, places, [*table.faults, *table.strays])
    path = folder() / f"{circuit.unit.name}-off-{key}.h5"
    rows = 1 + len(table.faults) + len(table.strays)
    found = load_off(path, instrument.name, meter, places, rows, key)
    if found is not None or not build:
        return found
    with alone(path):
        # Another process may have built it while this one waited.
        found = load_off(path, instrument.name, meter, places, rows, key)
        if found is not None:
            return found
        with closing(Kept(path.with_name("rows.db"))) as kept, ExitStack() as stack:
            if not isinstance(pool, Pool):
                pool = stack.enter_context(Pool(executor=pool, time_limit=ROW_LIMIT))
            done = _run(_tasks(table, stated, meter, places), kept, pool, progress)
            made = assembled_off(instrument.name, meter, places, done, key)
            try:
                save_off(made, path)
            except OSError as error:
                raise cannot_keep(path, error) from error
            kept.trim()
        tidy(path, PARTS)
    return load_off(path, instrument.name, meter, places, rows, key) or made


def _content(
    circuit: Circuit, stated: Facts, meter: Meter, places: Sequence[Place], faults: Sequence[Fault | Stray]
) -> dict[str, Any]:
    """Return all that the numbers of a power-off part come from, by name."""
    parts = {name: place.part for name, place in circuit.parts.items()}
    kinds = sorted({part.kind for part in parts.values()})
    used = sorted({part.device for part in parts.values() if part.device})
    return {
        "method": METHOD, "ngspice": circuit.version,
        "circuit": circuit.flat.lines(), "test points": list(circuit.points.items()),
        "parts": [
            (name, part.kind, part.value, part.rating, part.tolerance, part.device) for name, part in parts.items()
        ],
        "device classes": [(name, repr(device(name).spreads)) for name in used],
        "failure modes": [(kind, repr(modes_for(kind))) for kind in kinds],
        # Without the line of the unit file they stand in: the numbers are the same in another folder.
        "rails": [(each.name, each.volts, each.resistance, each.tolerance, each.fuse, each.fed_by)
                  for each in circuit.unit.rails],
        "reservoirs": repr([astuple(each)[:4] for each in circuit.unit.reservoirs]),
        "facts": repr(stated), "esr": repr(esr_table()), "meter": repr(meter),
        "places and faults": [repr(each) for each in (*places, *faults)],
        "draws": [SEED, OFF_DRAWS, FAULT_DRAWS, CUT],
    }  # fmt: skip


def _key(
    circuit: Circuit, stated: Facts, meter: Meter, places: Sequence[Place], faults: Sequence[Fault | Stray]
) -> str:
    """Return the identifier of a power-off part: a digest of all that its numbers come from."""
    content = list(_content(circuit, stated, meter, places, faults).values())
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()[:16]


def _tasks(table: Table, stated: Facts, meter: Meter, places: tuple[Place, ...]) -> list[OffTask]:
    circuit = table.circuit
    numbers, names = varied(circuit), varied_off(circuit)
    z = deviates(DRAWS, len(numbers), SEED)[:OFF_DRAWS]
    more = tuple(dict(zip(names, map(float, row), strict=True)) for row in deviates(OFF_DRAWS, len(names), SEED + 1))
    rows: list[tuple[Fault | None, Stray | None]] = [(None, None), *((fault, None) for fault in table.faults)]
    rows += [(None, stray) for stray in table.strays]
    return [OffTask(circuit, stated, meter, places, fault, stray, numbers, z, more) for fault, stray in rows]


def _run(tasks: list[OffTask], kept: Kept, pool: Pool, progress: Progress | None) -> list[OffRow]:
    """Return the rows, simulating those that are not kept; those of the same circuit only once."""
    keys = _row_keys(tasks)
    wanted: dict[str, tuple[Fault | None, Stray | None]] = {}
    for key, task in zip(keys, tasks, strict=True):
        wanted.setdefault(key, (task.fault, task.stray))

    def common(healthy: OffRow | None) -> OffCommon:
        return OffCommon(replace(tasks[0], healthy=healthy), METHOD)

    none = empty_row(tasks[0])
    done, lost = simulated_or_kept(run_common, common, wanted, none, kept, pool, progress)
    done |= {key: replace(none, status=f"not read: {error}") for key, error in lost.items()}
    return [done[key] for key in keys]


def _row_keys(tasks: Sequence[OffTask]) -> list[str]:
    """Return a digest of all that each row's numbers come from."""
    like = tasks[0]
    content = _content(like.circuit, like.facts, like.meter, like.places, ())
    shared = [each for name, each in content.items() if name not in FAULTS]
    # The draws themselves, since another version of SciPy may give others for the same seed.
    base = hashlib.sha256(json.dumps([shared, like.z.tolist(), like.more]).encode())
    keys = []
    for task in tasks:
        found = base.copy()
        # A draw tells a part set to a value from one that is changed to it, which at nominal values look the same.
        for flat in (task.nominal(), *([task.drawn(0)] if len(task.z) else [])):
            found.update("\n".join(flat.lines()).encode())
        # A cold joint stays on the board when its part is lifted; any other fault goes with the part.
        found.update(f"{task.fault.part if task.fault and task.fault.mode in JOINTS else None}".encode())
        keys.append(found.hexdigest()[:32])
    return keys


@dataclass(frozen=True)
class OffCommon:
    """What all rows of a power-off part have in common: a task, and `METHOD` where it is put together."""

    like: OffTask
    method: int


def run_common(session: Session, common: OffCommon, row: tuple[Fault | None, Stray | None]) -> OffRow:
    """Run a row; in a worker, which may be on another computer."""
    same_versions(session, METHOD, common.method, common.like.circuit.version)
    return run_off_row(session, replace(common.like, fault=row[0], stray=row[1]))
