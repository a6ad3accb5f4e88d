"""What ``lostgain import`` made of a netlist, and what it was unsure about, for the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from lostgain.netlists.model import DOUBTFUL, LIKELY, SURE, Guess, Imported
from lostgain.quantities import show
from lostgain.report.text_layout import joined, section, table, wrapped

_HEADS = {
    DOUBTFUL: "Doubtful: look at these first",
    LIKELY: "Likely",
    SURE: "Changed or left out, for certain",
}


def import_text(imported: Imported, folder: Path) -> str:
    """Return what was made and guessed.

    Parameters
    ----------
    imported : Imported
    folder : Path
        Where it was written.
    """
    rails = ", ".join(f"{name} {show(volts, 'V')}" for name, volts in imported.rails.items()) or "none"
    setup = imported.setup
    stages = [(stage.name, f"to {stage.output}", ", ".join(piece.board for piece in stage.parts))
              for stage in imported.stages]  # fmt: skip
    facts = [
        ("Parts", str(len(imported.parts))),
        ("Rails", rails),
        ("Input", f"{imported.input}, generator {setup['generator']}"),
        ("Output", f"{imported.output}, {'load ' + setup['load'] if 'load' in setup else 'no load'}"),
        ("Test points", str(len(imported.points))),
    ]
    return joined(
        [
            wrapped(imported.title),
            table(facts, indent=""),
            [*section("Stages proposed, in signal order"), *table(stages)],
            *[_told(sure, imported.guesses) for sure in _HEADS],
            _proof(imported),
            wrapped(f"Next: compare {folder / 'unit.toml'} with the schematic, then lostgain check {folder}."),
        ]
    )


def _told(sure: str, guesses: Sequence[Guess]) -> list[str]:
    """Return the guesses of one sureness; many of one group in one line."""
    mine = [guess for guess in guesses if guess.sure == sure]
    if not mine:
        return []
    lines = section(_HEADS[sure])
    groups: dict[str, list[Guess]] = {}
    for guess in mine:
        groups.setdefault(guess.group or f"{id(guess)}", []).append(guess)
    for name, group in groups.items():
        if len(group) > 1:
            text = f"{', '.join(each.about for each in group)}: {name}."
        else:
            place = f" (line {group[0].where.line})" if group[0].where.line else ""
            text = f"{group[0].about}{place}: {group[0].text}"
            if _adds(group[0]):
                text = f"{group[0].about}{place}: {name.partition(',')[0]}, {group[0].text}"
        lines += wrapped(text, "    ", "  ")
    return lines


def _adds(guess: Guess) -> bool:
    return bool(guess.group) and guess.key.startswith("part")


def _proof(imported: Imported) -> list[str]:
    text = (f"DC and levels at {imported.nodes} nodes are the netlist's; the largest difference is "
            f"{imported.worst * 100:.2g} %.")  # fmt: skip
    return wrapped(text)
