"""``lostgain progress``: how an apprentice gets on."""

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
        "progress", help="how you get on with drills, and what to drill next"
    )
    parser.add_argument("--export", metavar="FILE", type=Path, help="write every drill to this file (CSV)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Show an apprentice's progress."""
    from lostgain.report.text_progress import progress_text  # loads what only drills need
    from lostgain.teach import progress

    if args.export is not None:
        file_to_write(args.export)
    done = progress.rows()
    if args.export is not None:
        with writing(args.export), args.export.open("w", encoding="utf-8", newline="") as file:
            out = csv.DictWriter(file, progress.COLUMNS)
            out.writeheader()
            out.writerows(done)
    found = progress.progress(done)
    if args.json:
        print(json.dumps(progress.progress_record(found, done), ensure_ascii=False, allow_nan=False))
    elif args.export is None:
        print(progress_text(found))
