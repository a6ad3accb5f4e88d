"""The figures as a table that a technician understands."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import wrap
from typing import Any

from benchmarks.figures import Figure
from benchmarks.score_isolated import MEANS

#: Columns of a terminal, and of what a figure is called.
WIDE, LABEL = 80, 49
#: Key, what it means, and the goal.
ROWS = (
    ("stage_top1", "right stage named first", ""),
    ("part_top1", "right part named first", ""),
    ("part_top3", "right part among the first three", ""),
    ("optimal_ratio.stage_top1", "  stage: against the best that the readings allow", "≥ 0.98"),
    ("optimal_ratio.part_top1", "  part: against the best that the readings allow", "≥ 0.98"),
    ("optimal_ratio.part_top3", "  three: against the best that the readings allow", "≥ 0.98"),
    ("log_loss", "surprise at the truth (log loss; less is better)", ""),
    ("calibration_error", "how far its probabilities are off, on average", "≤ 0.03"),
    ("coverage90", "how bad it is lies in the range given as 90 %", "0.87–.93"),
    ("false_alarm", "healthy units called faulty", "≤ 0.02"),
    ("detected", "faults that leave a mark and are noticed", "≥ 0.98"),
    ("outsider", "faults not in the table: said so, or right stage", "≥ 0.90"),
    ("called_unexplained", "  faults in the table of which that is said, too", ""),
    ("match_ms", "time of a match, 12 readings and 150 faults [ms]", "≤ 50"),
    ("next_ms", "time of a next reading, the same [ms]", "≤ 300"),
    ("with_good_channel.stage_top1", "with a good channel read too: right stage first", ""),
    ("with_good_channel.part_top1", "  right part first", ""),
    ("with_good_channel.alone.part_top1", "  the same cases without it: right part first", ""),
    ("with_good_channel.part_top3", "  right part among the first three", ""),
    ("with_good_channel.alone.part_top3", "  the same cases without it: among first three", ""),
    ("with_good_channel.log_loss", "  surprise at the truth", ""),
    ("with_good_channel.alone.log_loss", "  the same cases without it: surprise", ""),
    ("readings_to_isolate.next", "readings until isolated, by next", ""),
    ("readings_to_isolate.walk", "  stage by stage, input to output", ""),
    ("readings_to_isolate.halves", "  by halves", ""),
    ("minutes_to_isolate.next", "minutes until isolated, by next [min]", ""),
    ("minutes_to_isolate.walk", "  stage by stage, input to output [min]", ""),
    ("minutes_to_isolate.halves", "  by halves [min]", ""),
    ("minutes_ratio.next/walk", "  next over stage by stage", "≤ 0.7"),
    ("minutes_ratio.next/halves", "  next over by halves", ""),
    ("right_when_isolated.next", "right part named first when it stops, by next", ""),
    ("right_when_isolated.walk", "  stage by stage, input to output", ""),
    ("right_when_isolated.halves", "  by halves", ""),
    ("beside_optimum.minutes.optimal", "fewest minutes possible, expected [min]", ""),
    ("beside_optimum.minutes_ratio.next/optimal", "  next over the fewest", "≤ 1.1"),
    ("beside_optimum.minutes_ratio.lookahead/optimal", "  one step ahead, perfect model, over the fewest", ""),
    ("beside_optimum.minutes_ratio.in order/optimal", "  in the order of the signal, over the fewest", ""),
    ("beside_optimum.right.optimal", "  right when it stops: the fewest minutes", ""),
    ("beside_optimum.right.next", "  right when it stops: next", ""),
)


def table_text(found: Mapping[str, Any]) -> str:
    """Return the figures of each unit and over all, one below the other, with 95 % intervals."""
    blocks = dict(found["units"])
    if len(blocks) > 1:
        blocks["over all"] = found["over_all"]
    lines = [line for name, figures in blocks.items() for line in _block(name, figures)]
    return "\n".join([*lines, "", "In brackets the 95 % interval.", *wrap(MEANS, WIDE)])


def _block(name: str, figures: Mapping[str, Any]) -> list[str]:
    cells = [(text, _cell(figure), goal) for key, text, goal in ROWS if (figure := _find(figures, key)) is not None]
    lines = [f"{text:<{LABEL}} {cell:<20} {goal}".rstrip() for text, cell, goal in cells]
    return ["", f"{name:<{LABEL + 22}}goal", *lines, *wrap(_note(figures), WIDE)]


def _find(figures: Mapping[str, Any], key: str) -> Figure | None:
    found: Any = figures
    for name in key.split("."):
        found = found.get(name) if isinstance(found, Mapping) else None
    return found if isinstance(found, Figure) else None


def _cell(figure: Figure) -> str:
    if figure.cases == 0:
        return "–"
    places = 1 if figure.value >= 10 else 3
    return f"{figure.value:.{places}f} ({figure.low:.{places}f}–{figure.high:.{places}f})"


def _note(figures: Mapping[str, Any]) -> str:
    chance = figures["calibration_error_by_chance"]
    text = f"Probabilities without fault would show an error of {chance:.3f} over so few cases"
    if figures["not_simulated"]:
        text += f"; {figures['not_simulated']} cases could not be simulated and are left out"
    if figures["match_failed"]:
        text += f"; on {figures['match_failed']} cases the match failed, which counts as a wrong answer"
    if "references" in figures:
        loss = {kind: row["log_loss"].value for kind, row in figures["references"].items()}
        best = min(loss, key=lambda kind: loss[kind])
        text += f"; least log loss of a reference {loss[best]:.2f} ({best})"
        more = max(abs(moved) for moved in figures["reference_doubling"][best].values())
        text += f", whose shares move by up to {more:.3f} where the samples it learns from are doubled"
    return text + "."
