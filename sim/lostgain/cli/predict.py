"""``lostgain predict``: what a failure looks like."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import folder_to_write, written
from lostgain.cli.off import off_argument
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
    off_argument(parser, "what meters show across the parts with the power off, too")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Predict what one failure, or several at once, looks like."""
    from lostgain.report.text_off import off_record, off_text  # loads what only simulations need

    unit = lostgain.open_unit(args.unit)
    if args.pictures is not None:
        folder_to_write(args.pictures)
    with lostgain.Pool(workers=2) as pool, shown("Simulating the failure beside the healthy unit"):
        circuit = lostgain.build_circuit(unit, pool)
        faults = [lostgain.parse_fault(text, circuit) for text in args.faults]
        _refuse_twice(args.faults, faults)
        found = lostgain.predict(circuit, faults, pool)
        off = lostgain.predict_off(circuit, faults, pool) if args.power_off else None
    if args.json:
        record = lostgain.prediction_record(found) | ({} if off is None else {"power_off": off_record(off)})
        print(json.dumps(record, ensure_ascii=False, allow_nan=False))
    else:
        print(lostgain.prediction_text(found, sys.stdout.encoding))
        if off is not None:
            print("", off_text(off), sep="\n")
    if args.pictures is not None:
        with shown("Drawing"):
            drawn = lostgain.prediction_pictures(found, args.pictures)
        written(drawn)


def _refuse_twice(texts: list[str], faults: list[lostgain.Fault]) -> None:
    """Refuse one failure named twice: it would be put in twice."""
    for number, fault in enumerate(faults):
        if fault in faults[:number]:
            raise lostgain.UserError(f"'{texts[number]}' is named twice; --fault twice is for two failures at once.")
