"""Marking a set of drills: one row each, from what each file holds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from lostgain.problems import Problem, UserError, Where
from lostgain.teach.keep import read
from lostgain.teach.record import SIGNED_OFF, UNSAFE, Drill

COLUMNS = ("file", "unit", "level", "seed", "failed", "channel", "ended", "minutes", "readings", "money", "share",
           "policy_minutes", "policy_readings", "needless", "traps", "hazard")  # fmt: skip


def mark(path: Path) -> dict[str, Any]:
    """Return the mark of one drill, by `COLUMNS`; what is not known is None.

    Parameters
    ----------
    path : Path
        A drill that was finished, or not.

    Raises
    ------
    UserError
        If it is no drill.
    """
    drill = read(path)
    try:
        return _marked(drill, path)
    except (LookupError, TypeError, AttributeError, ValueError) as error:
        raise UserError(
            Problem(f"this drill is damaged: something is of another sort ({error}).", Where(path))
        ) from error


def _marked(drill: Drill, path: Path) -> dict[str, Any]:
    hidden, result = drill.hidden, drill.result or {}
    policy = result.get("policy", {})
    solved = bool(result.get("solved"))
    over = bool(drill.ended)  # until then nobody is told, a teacher neither: the file is the apprentice's
    ended = {UNSAFE: "unsafe", SIGNED_OFF: "repaired" if solved else "signed off"}.get(drill.ended, "unfinished")
    return {
        "file": path.name, "unit": hidden.unit, "level": hidden.level, "seed": hidden.seed,
        "failed": ", ".join(result.get("failed") or (each.label for each in hidden.faults)) if over else "",
        "channel": hidden.channel if over else "", "ended": ended,
        "minutes": drill.minutes, "readings": len(drill.readings), "money": drill.money,
        "share": result.get("share") if drill.ended else None,
        "policy_minutes": policy["minutes"] + policy["repair"] if policy else None,
        "policy_readings": policy.get("readings"), "needless": ", ".join(result.get("needless", ())),
        "traps": ", ".join(result.get("traps", ())), "hazard": drill.hazard,
    }  # fmt: skip
