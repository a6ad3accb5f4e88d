"""The figures of ``scripts/bench speed`` as a table that a technician understands."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

#: Key, what it means, the goal.
OF_UNIT = (
    ("floor_ratio.whole", "table against every simulation done plainly, rows alone", "≤ 0.2"),
    ("floor_ratio.with_everything_else", "  with starting, keeping and storing", ""),
    ("floor_ratio.small_signal", "  its small-signal part", ""),
    ("floor_ratio.transient", "  its part in time", ""),
    ("same_answer.largest", "largest difference from the plain one [spreads]", "≤ 0.1"),
    ("same_answer.quantile_99", "  99 in 100 numbers are nearer than", ""),
    ("same_answer.rows_within_goal", "  share of faults all within the goal", ""),
    ("naive_ratio", "a loop with PySpice against it, on two cores", "≥ 20"),
    ("core_scaling", "one worker against two", "≥ 1.8"),
    ("build.processor_seconds", "processor time of the table [s]", ""),
    ("rss_mb", "memory of the parent at most [MB]", ""),
    ("table_mb", "table on disk [MB]", ""),
)
OF_ALL = (
    ("growth.one_stage", "growth with the number of parts, one stage's faults", "≤ 1.3"),
    ("growth.all", "  all faults", "≤ 2.2"),
    ("cli_start_ratio", "start of the command against numpy's", "≤ 3"),
)
_WIDE = 58


def speed_text(found: Mapping[str, Any]) -> str:
    """Return the figures of each unit, and those of no unit."""
    units = found["units"]
    lines = ["", " " * _WIDE + "".join(f"{name[:22]:<24}" for name in units) + "goal"]
    for key, text, goal in OF_UNIT:
        lines.append(f"{text:<{_WIDE}}" + "".join(f"{_shown(each, key):<24}" for each in units.values()) + goal)
    for key, text, goal in OF_ALL:
        lines.append(f"{text:<{_WIDE}}{_shown(found, key):<24}" + " " * 24 * (len(units) - 1) + goal)
    return "\n".join(line.rstrip() for line in lines)


def _shown(found: Mapping[str, Any], key: str) -> str:
    value: Any = found
    for word in key.split("."):
        value = value.get(word) if isinstance(value, Mapping) else None
    return "—" if value is None else f"{value:.3g}"
