"""What ``lostgain check`` says of a unit."""

from __future__ import annotations

from lostgain.bench.check import Check
from lostgain.problems import Problem
from lostgain.report.text_layout import joined, section, table, wrapped
from lostgain.unit.summary import PointLine, StageLine

_MARKS = {"danger": "Danger", "damage": "Damage", "note": "Note"}


def check_text(check: Check) -> str:
    """Return what a unit holds, and its cautions.

    Parameters
    ----------
    check : Check
    """
    holds = check.holds
    return joined(
        [
            [*wrapped(holds.title + (" (an invented example)" if holds.invented else "")), *_about(holds.about)],
            _doubts(check.unit.doubts),
            _counts(check),
            _stages(holds.stages),
            _points(holds.points, holds.channels),
            _left_out(holds.left_out),
            _cautions(check),
            _printed(check),
            wrapped("The healthy unit stays at its operating point when time runs."),
        ]
    )


def _about(text: str) -> list[str]:
    return wrapped(text) if text.strip() else []


def _doubts(doubts: tuple[Problem, ...]) -> list[str]:
    if not doubts:
        return []
    lines = section("Doubtful in the description")
    for each in doubts:
        lines += wrapped(str(each), "    ", "  ! ")
    return lines


def _counts(check: Check) -> list[str]:
    holds = check.holds
    reach = sum(point.reach for point in holds.points)
    parts = f"{holds.part_count} in {'each' if len(holds.channels) > 1 else 'the'} channel, rails and fuses included"
    points = f"{len(holds.points)}, {reach} of them in reach"
    points += f"; {holds.minutes:.0f} min to read them once in {'all channels' if len(holds.channels) > 1 else 'all'}"
    faults = f"{check.faults} (a part and what is wrong with it), at {check.rows} severities in all"
    return table([("Channels", ", ".join(holds.channels)), ("Stages", str(len(check.unit.stages))), ("Parts", parts),
                  ("Test points", points), ("Faults", faults)], indent="")  # fmt: skip


def _stages(stages: tuple[StageLine, ...]) -> list[str]:
    lines = section("Stages, in signal order")
    for stage in stages:
        lines += wrapped(f"{stage.name}: {stage.what}", "      ", "  ")
        parts = [" ".join(each for each in (part.designator, part.value) if each) for part in stage.parts]
        if parts:
            # no break inside a part: `R14 22 kΩ` stays together
            text = ", ".join(part.replace(" ", "\N{NO-BREAK SPACE}") for part in parts)
            lines += [line.replace("\N{NO-BREAK SPACE}", " ") for line in wrapped(text, "      ", "    ")]
    return lines


def _points(points: tuple[PointLine, ...], channels: tuple[str, ...]) -> list[str]:
    alike = all(len(set(point.names)) == 1 for point in points)
    heads = ["Test point"] if alike else [f"In {channel}" for channel in channels]
    rows = []
    for point in points:
        reach = f"{point.minutes:g} min" if point.reach else "out of reach"
        names = point.names[:1] if alike else point.names
        rows.append([*names, point.stage, reach, ", ".join(point.printed) or "—"])
    return [*section("Test points, in signal order"), *table(rows, head=[*heads, "Stage", "To read", "Printed"])]


def _left_out(names: tuple[str, ...]) -> list[str]:
    if not names:
        return []
    return wrapped(f"Simulated, and never suspected, because `parts` does not name them: {', '.join(names)}.")


def _printed(check: Check) -> list[str]:
    told = check.printed.sentences()
    if not check.printed.off:
        return [line for text in told for line in wrapped(text)]
    lines = section("Printed values that do not agree")
    return lines + [line for text in told for line in wrapped(text, "    ", "  ")]


def _cautions(check: Check) -> list[str]:
    lines = section("Cautions")
    for one in check.cautions:
        lines += wrapped(f"{_MARKS.get(one.severity, one.severity)}. {one.topic}: {one.text}", "    ", "  ")
    return lines
