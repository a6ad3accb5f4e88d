"""``[setup]`` of a unit file: how the bench stands while readings are taken."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from math import log10

from lostgain import quantities
from lostgain.problems import nearest
from lostgain.unit.branches import on_output, output_stages
from lostgain.unit.controls import share
from lostgain.unit.draft import Draft
from lostgain.unit.load import OPEN, Load
from lostgain.unit.loads import read_load
from lostgain.unit.model import Stage
from lostgain.unit.names import name_fault
from lostgain.unit.rails import quantity, volts
from lostgain.unit.setup_model import Setup
from lostgain.unit.source import Table

_USUAL = (500.0, 40.0, 10_000.0)
#: Most further levels of the generator; and two are the same when nearer than this [decades].
MOST_LEVELS, CLOSE = 3, 0.05
_NEEDED = 'generator = "200 mV rms"'


def level(table: Table, key: str, example: str) -> float | None:
    """Return a signal level written as text [V rms]; plain volts count as rms; None where it is missing or wrong."""
    text = table.get(key, str, f"a text with its unit, for example “{example}”")
    if text is None:
        return None
    try:
        value = quantities.measure(text, "voltage").value
    except ValueError as error:
        table.wrong(key, f"{key}: {error}")
        return None
    if value < 0:
        table.wrong(key, f"{key}: “{text}” is below zero; a level is wanted, for example “{example}”.")
        return None
    return value


def read_setup(top: Table, draft: Draft, stages: Iterable[Stage]) -> Setup:
    """Read ``[setup]``.

    Parameters
    ----------
    top : Table
        The whole unit file.
    draft : Draft
        With every part read, for the controls.
    stages : iterable of Stage
        In signal order, for the loads.
    """
    table = top.table("setup", "[setup]")
    generator = level(table, "generator", "200 mV rms")
    if "generator" not in table.data:
        table.lacks("generator", f"[setup] needs the generator's level, for example {_NEEDED}.")
    elif generator == 0:
        table.wrong("generator", "the generator's level is zero: nothing could be read.")
    instrument = table.text("instrument", "scope-x10")
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}", instrument):
        table.wrong("instrument", f"“{instrument}” is no name of an instrument: expected for example scope-x10.")
    start = table.text("start", "input")
    if fault := name_fault(start):
        table.wrong("start", f"start = “{start}” {fault}.")
    stages = tuple(stages)
    setup = Setup(
        generator=generator or 0.0,
        source=_positive(table, "source", "resistance", "50R", 50.0) or 0.0,
        common=level(table, "common_mode", "1 V rms"),
        start=start,
        start_dc=volts(table, "start_dc", "0 V") or 0.0,
        frequencies=_frequencies(table),
        levels=_levels(table, generator or 0.0),
        load=read_load(table) or OPEN,
        loads=_loads(table, stages),
        load_rating=_positive(table, "load_rating", "power", "100 W", None),
        instrument=instrument,
        controls=_controls(table, draft),
        where=table.where(),
    )
    _refuse_open(table, setup, stages)
    if setup.load_rating and setup.load.is_open and "load" not in table.data:
        table.wrong("load_rating", "load_rating is given without a load, for example load = “8R”.")
    table.finish()
    return setup


def _loads(table: Table, stages: tuple[Stage, ...]) -> dict[str, Load]:
    """Read ``[setup.loads]``: what hangs on an output in place of the one load for all."""
    rows = table.table("loads", "[setup.loads]")
    outputs = {name.lower(): name for name in output_stages(stages)}
    found = {}
    for key in list(rows.data):
        load = read_load(rows, key)
        rows.taken.add(key)
        if key.lower() not in outputs:
            message = f"“{key}” is no stage at an output of this unit."
            rows.wrong(key, message, nearest(key, outputs.values()))
        elif load is not None:
            found[outputs[key.lower()]] = load
    return found


def _refuse_open(table: Table, setup: Setup, stages: tuple[Stage, ...]) -> None:
    """Note an output left open behind a stage that no bench may run so."""
    for output in output_stages(stages):
        for stage, unloaded in on_output(stages, output):
            if setup.loads.get(output, setup.load).is_open and not unloaded.allowed:
                message = f"“{stage}” may not run without a load: {unloaded.says}."
                table.wrong("load" if "load" in table.data else None, message, "For example load = “8R”.")


def _positive(table: Table, key: str, dimension: str, example: str, default: float | None) -> float | None:
    """Return a quantity above zero."""
    value = quantity(table, key, dimension, example, default)
    if value is not None and value <= 0:
        table.wrong(key, f"{key} = “{table.data.get(key)}” should be above zero, for example “{example}”.")
        return default
    return value


def _frequencies(table: Table) -> tuple[float, ...]:
    """Read the frequencies: the middle one first, then a low and a high one, or any number of others."""
    texts = table.names("frequencies", 'a list of texts: ["500 Hz", "40 Hz", "10 kHz"]')
    if "frequencies" not in table.data:
        return _USUAL
    found: list[float] = []
    for text, value in _each(table, "frequencies", texts, "frequency"):
        if not 0.1 <= value <= 1e6:
            table.wrong("frequencies", f"frequencies: “{text}” is out of range: 0.1 Hz to 1 MHz.")
        elif value in found:
            table.wrong("frequencies", f"frequencies: “{text}” is there twice.")
        else:
            found.append(value)
    if not 1 <= len(texts) <= 8:
        table.wrong("frequencies", "frequencies should hold one to eight, the middle one first.")
    if len(found) == 3 and not found[1] < found[0] < found[2]:
        table.wrong("frequencies", "the first frequency is the middle one, then comes the low and then the high one.")
    return tuple(found) or _USUAL


def _each(table: Table, key: str, texts: Iterable[str], dimension: str) -> Iterator[tuple[str, float]]:
    """Yield each text of a list with its value, and note those that have none."""
    for text in texts:
        try:
            yield text, quantities.measure(text, dimension).value
        except ValueError as error:
            table.wrong(key, f"{key}: {error}")


def _levels(table: Table, own: float) -> tuple[float, ...]:
    """Read further levels of the generator, each at least 1 dB from its own and from one another."""
    found: list[float] = []
    texts = table.names("levels", 'a list of texts: ["20 mV rms"]')
    for text, value in _each(table, "levels", texts, "voltage"):
        if value <= 0:
            table.wrong("levels", f"levels: “{text}” should be above zero, for example “20 mV rms”.")
        elif own and any(abs(log10(value / each)) < CLOSE for each in (own, *found)):
            table.wrong("levels", f"levels: “{text}” is the generator's own level, or there twice.")
        else:
            found.append(value)
    if len(texts) > MOST_LEVELS:
        table.wrong("levels", f"levels should hold no more than {MOST_LEVELS}.")
    return tuple(found)


def _controls(table: Table, draft: Draft) -> dict[str, float]:
    """Read ``[setup.controls]``; a potentiometer that is not named there stands at half its turn.

    ``RV1`` sets all gangs of a control, RV1A and RV1B, each by its own taper.
    """
    rows = table.table("controls", "[setup.controls]")
    pots = {part.designator: part for part in draft.parts.values() if part.kind == "potentiometer"}
    found = {name: share("half", part.taper or "linear") for name, part in pots.items()}
    for key in list(rows.data):
        text = rows.get(key, str, "a setting in quotes, for example “-6 dB”, “half” or “0.3 turn”")
        name = key.upper()
        gangs = [name] if name in pots else [each for each in pots if re.fullmatch(rf"{re.escape(name)}[A-Z]", each)]
        if name in draft.unread and name not in draft.parts:
            continue  # its own mistake has been told
        if not gangs:
            if name in draft.parts:
                message = f"{key} is of kind {draft.parts[name].kind}; only a potentiometer can be set."
            else:
                message = f"“{key}” is no part of this unit."
            rows.wrong(key, message, nearest(key, pots))
        elif text is not None:
            try:
                found |= {each: share(text, pots[each].taper or "linear") for each in gangs}
            except ValueError as error:
                rows.wrong(key, f"{key}: {error}")
    return found
