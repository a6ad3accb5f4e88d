"""``lostgain mark``: a table of finished drills, for the teacher."""

from __future__ import annotations

import argparse
import csv
import json
from pathlib import Path
from typing import Any

from lostgain.cli.files import file_to_write, writing


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "mark", help="mark a set of finished drills",
        description="Prints a table of drills: what was hidden, how each ended, its time beside that of the policy of "
        "lostgain next, and the traps fallen into. What a file says of itself is believed.",
    )  # fmt: skip
    parser.add_argument("files", metavar="FILE", nargs="+", type=Path, help="drills, as lostgain drill keeps them")
    parser.add_argument("--csv", metavar="FILE", type=Path, help="write the table to this file")
    parser.add_argument("--json", action="store_true", help="print one JSON array")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Mark drills."""
    from lostgain.report.text_progress import marks_text  # loads what only drills need
    from lostgain.teach.mark import COLUMNS, mark

    if args.csv is not None:
        file_to_write(args.csv)
    marks = [mark(path) for path in args.files]
    if args.csv is not None:
        with writing(args.csv), args.csv.open("w", encoding="utf-8", newline="") as file:
            out = csv.DictWriter(file, COLUMNS)
            out.writeheader()
            out.writerows(marks)
    if args.json:
        print(json.dumps(marks, ensure_ascii=False, allow_nan=False))
    else:
        print(marks_text(marks))
