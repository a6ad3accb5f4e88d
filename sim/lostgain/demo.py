"""The main job on the demo unit: table, readings, suspects, pictures. ``python -m lostgain.demo [FOLDER]``."""

from __future__ import annotations

import sys
import textwrap
from dataclasses import replace
from pathlib import Path

import lostgain
from lostgain.cli.files import writing
from lostgain.cli.main import guarded
from lostgain.cli.progress import shown
from lostgain.cli.table import opened

UNIT = "ferry-terminal"
FOLDER = Path("demo-output")


def main(folder: Path = FOLDER) -> None:
    """Run the demo and write its pictures and the bench sheet.

    Parameters
    ----------
    folder : Path
        Where they go; made if it is not there.
    """
    unit = lostgain.open_unit(UNIT)
    _say(f"{unit.title}. Everything about it is invented.", "Before anything is plugged in:")
    for caution in lostgain.cautions(unit):
        _say(f"! {caution.text}")
    table = opened(unit)
    print("\n" + lostgain.table_text(table))
    folder.mkdir(parents=True, exist_ok=True)
    _sheet(table, folder)
    for path in sorted((unit.folder / "readings").glob("*.csv")):
        _readings(table, path, folder / path.stem)
    _say("", f"Pictures and the bench sheet are in {folder.resolve()}:")
    for made in sorted(folder.rglob("*.*")):
        print(f"  {made.relative_to(folder)}")


def _sheet(table: lostgain.Table, folder: Path) -> None:
    page = lostgain.sheet(table)
    with writing(folder / "bench-sheet.html"):
        (folder / "bench-sheet.html").write_text(lostgain.sheet_html(page), encoding="utf-8")
    with shown("Printing the bench sheet"), writing(folder / "bench-sheet.pdf"):
        lostgain.write_sheet_pdf(page, folder / "bench-sheet.pdf")


def _readings(table: lostgain.Table, path: Path, folder: Path) -> None:
    """Match one readings file, and show the first suspect beside the healthy unit."""
    unit = table.circuit.unit
    print(f"\n{'=' * 80}\nReadings: {path.name}\n")
    readings = lostgain.read_readings(path, unit)
    verdict = lostgain.match(table, readings)
    print(lostgain.verdict_text(verdict, unit, readings))
    with shown("Drawing"):
        lostgain.verdict_pictures(table, readings, verdict, folder)
        first = verdict.suspects[0]
        prediction = lostgain.predict(table.circuit, [replace(first.fault, severity=first.severity)])
        lostgain.prediction_pictures(prediction, folder, table)
    _say("", "What the first suspect would look like:")
    for sentence in lostgain.sentences(prediction):
        _say(sentence)


def _say(*lines: str) -> None:
    for line in lines:
        print(textwrap.fill(line, 80, subsequent_indent="  ") if line else "")


if __name__ == "__main__":
    sys.exit(guarded(lambda: main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)))
