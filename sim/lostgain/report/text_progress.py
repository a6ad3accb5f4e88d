"""An apprentice's progress, and a set of marked drills, in the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from lostgain.report.text_layout import joined, section, table, wrapped
from lostgain.teach.hazards import title as hazard_title
from lostgain.teach.order import levels
from lostgain.teach.progress import ENOUGH, NEAR, Group, Progress, trap_title


def progress_text(found: Progress) -> str:
    """Return how an apprentice gets on."""
    if not found.count:
        return "No drill was finished so far. Begin with: lostgain drill UNIT --level 1"
    head = f"{found.count} drills, {found.solved} solved, {found.unsafe} stopped by an unsafe act."
    kinds = f"; faults of these kinds take you long or escape you: {', '.join(found.next_kinds)}" * bool(
        found.next_kinds
    )
    level = levels()[found.next_level]
    return joined([
        wrapped(head),
        _groups("Kinds of part, what gives most trouble first", found.by_kind, ""),
        _groups("Levels", found.by_level, "level "),
        _counts("Traps", [(trap_title(name), count) for name, count in found.traps]),
        _counts("Unsafe acts", [(hazard_title(name), count) for name, count in found.hazards]),
        wrapped(f"Drill next: level {level.number} ({level.title}){kinds}."),
        wrapped(f"A level is done when its last {ENOUGH} drills were solved in at most {1 / NEAR:g} times the policy's "
                f"minutes. At level {level.number} that is so of {found.next_count or 'none'} so far."),
    ])  # fmt: skip


def _groups(title: str, groups: Sequence[Group], lead: str) -> list[str]:
    rows = [[f"{lead}{each.name}", str(each.count), str(each.solved),
             f"{each.times:.1f} times" if each.times is not None else ""] for each in groups]  # fmt: skip
    heads = ["", "drills", "solved", "the policy's minutes"]
    return [*section(title), *table(rows, "<>>>", heads)] if rows else []


def _counts(title: str, counts: Sequence[tuple[str, int]]) -> list[str]:
    return [*section(title), *table([[name, str(count)] for name, count in counts], "<>")] if counts else []


def marks_text(marks: Sequence[Mapping[str, Any]]) -> str:
    """Return a table of marked drills, the traps of each under it."""
    rows = []
    for each in marks:
        policy = f" ({each['policy_minutes']:.1f})" if each["policy_minutes"] is not None else ""
        share = f"{each['share'] * 100:.0f} %" if each["share"] is not None else ""
        rows.append([each["file"], f"{each['unit']}, {each['level']}", each["failed"], each["ended"],
                     f"{each['minutes']:.1f}{policy}", share])  # fmt: skip
    heads = ["File", "Unit, level", "Failed", "Ended", "Minutes", "Mark"]
    lines = [*table(rows, "<<<<>>", heads), *wrapped("In brackets: the policy's minutes, whose share of those used "
             "is the mark.", "  ")]  # fmt: skip
    for each in marks:
        said = [trap_title(name) for name in filter(None, each["traps"].split(", "))]
        said += [f"stopped: {hazard_title(each['hazard'])}"] if each["hazard"] else []
        lines += wrapped(f"{each['file']}: {'; '.join(said)}.", "    ", "  ") if said else []
    return "\n".join(lines)
