"""Where each stage takes its signal from: a chain, or one that branches, as at a crossover."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from lostgain.problems import nearest
from lostgain.unit import library
from lostgain.unit.facts import Unloaded
from lostgain.unit.model import Stage
from lostgain.unit.source import Table

OUT = "out"


def read_from(table: Table, before: Mapping[str, Stage]) -> str:
    """Return where a stage takes its signal from, as written; empty for the stage before it.

    Parameters
    ----------
    table : Table
        The ``[[stage]]``.
    before : mapping
        The stages ahead of it, by name.
    """
    if "from" not in table.data:
        return ""
    said = table.text("from")
    name, _, port = said.partition("/")
    stages = {each.lower(): each for each in before}
    if name.lower() not in stages:
        message = f"from = “{said}”: no stage ahead of this one is called “{name}”."
        table.wrong("from", message, nearest(name, before))
        return ""
    stage = before[stages[name.lower()]]
    ports = (OUT, *(library.stage(stage.library).outputs if stage.source == "library" else ()))
    if port and port.lower() not in ports:
        message = f"from = “{said}”: “{stage.name}” has no output “{port}”."
        table.wrong("from", message, nearest(port, ports))
        return ""
    return f"{stage.name}/{port.lower()}" if port else stage.name


def check_inputs(table: Table, stage: Stage, before: Stage | None) -> None:
    """Note a mistake where a stage takes a second signal and the stage before it gives none.

    Parameters
    ----------
    table : Table
        The ``[[stage]]``.
    stage : Stage
    before : Stage or None
        Where its signal comes from; None for the first stage, whose further inputs then are at ground.
    """
    if before is None or stage.source != "library":
        return
    given = library.stage(before.library).outputs if before.source == "library" else ()
    for port, wanted in library.stage(stage.library).inputs.items():
        if wanted not in given:
            message = f"{stage.library} takes a second signal at {port}, and “{before.name}” has no output “{wanted}”."
            table.wrong(None, message, "The stage before it is usually a phase splitter.")


def sources(stages: Iterable[Stage]) -> dict[str, tuple[str, str]]:
    """Return for each stage the stage and the port it takes its signal from; two empty texts for the first.

    Parameters
    ----------
    stages : iterable of Stage
        In signal order.
    """
    found: dict[str, tuple[str, str]] = {}
    last = ""
    for stage in stages:
        name, _, port = (stage.takes_from or last).partition("/")
        found[stage.name] = (name, (port or OUT) if name else "")
        last = stage.name
    return found


def output_stages(stages: Iterable[Stage]) -> tuple[str, ...]:
    """Return the stages at whose ``out`` the unit ends, in signal order: no other stage takes its signal there."""
    taken = sources(stages := tuple(stages)).values()
    return tuple(stage.name for stage in stages if (stage.name, OUT) not in taken)


def behind(stages: Iterable[Stage], name: str) -> frozenset[str]:
    """Return the stages that the signal of one goes through, without itself."""
    found = {name}
    for stage, (source, _) in sources(stages).items():
        if source in found:
            found.add(stage)
    return frozenset(found - {name})


def on_output(stages: Iterable[Stage], output: str) -> Iterator[tuple[str, Unloaded]]:
    """Yield the stages to which it matters that an output is open, with what it means.

    A stage counts if only stages without a supply, such as a relay's contact, lie between it and the output.

    Parameters
    ----------
    stages : iterable of Stage
    output : str
        A stage of `output_stages`.
    """
    by_name = {stage.name: stage for stage in stages}
    came_from = sources(by_name.values())
    name = output
    while name and by_name[name].source == "library":
        facts = library.stage(by_name[name].library)
        if facts.unloaded is not None:
            yield name, facts.unloaded
        name = "" if facts.rails else came_from[name][0]
