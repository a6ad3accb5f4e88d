"""``lostgain predict``: what a failure looks like."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import folder_to_write, written
from lostgain.cli.progress import shown
from lostgain.cli.words import unit_argument


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser("predict", help="say what a failure looks like")
    unit_argument(parser)
    parser.add_argument("--fault", metavar='"C7 open"', action="append", required=True, dest="faults",
                        help="a part and what is wrong with it; twice for two at once")  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--pictures", metavar="FOLDER", type=Path, help="draw the pictures into this folder as well")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Predict what one failure, or several at once, looks like."""
    unit = lostgain.open_unit(args.unit)
    if args.pictures is not None:
        folder_to_write(args.pictures)
    with lostgain.Pool(workers=2) as pool, shown("Simulating the failure beside the healthy unit"):
        circuit = lostgain.build_circuit(unit, pool)
        faults = [lostgain.parse_fault(text, circuit) for text in args.faults]
        found = lostgain.predict(circuit, faults, pool)
    if args.json:
        print(json.dumps(lostgain.prediction_record(found), ensure_ascii=False, allow_nan=False))
    else:
        print(lostgain.prediction_text(found, sys.stdout.encoding))
    if args.pictures is not None:
        with shown("Drawing"):
            drawn = lostgain.prediction_pictures(found, args.pictures)
        written(drawn)
