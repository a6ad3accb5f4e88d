"""``lostgain match``: which failure explains the readings taken."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import folder_to_write, written
from lostgain.cli.off import with_off
from lostgain.cli.progress import shown
from lostgain.cli.table import opened
from lostgain.cli.words import known_arguments, known_of, table_argument, unit_argument, unit_to_compare
from lostgain.readings.fits import refuse_unsimulated
from lostgain.report.text_layout import wrapped


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "match", help="name the suspects that explain a set of readings"
    )
    unit_argument(parser)
    parser.add_argument("readings", metavar="READINGS", help="a readings file (CSV)")
    parser.add_argument("--working", metavar="FILE", help="readings of the same channel while it worked, as reference")
    parser.add_argument("--rates", metavar="SET", default="bench",
                        help="failure rates to start from: bench (if not given) or handbook")  # fmt: skip
    known_arguments(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--pictures", metavar="FOLDER", type=Path, help="draw the pictures into this folder as well")
    table_argument(parser)
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Match readings to faults."""
    unit = unit_to_compare(args)
    rates = lostgain.rates(args.rates)
    readings = lostgain.read_readings(args.readings, unit)
    refuse_unsimulated(readings, unit)
    if args.pictures is not None:
        folder_to_write(args.pictures)
    if args.working:
        readings = lostgain.with_reference(readings, lostgain.read_readings(args.working, unit))
    known = known_of(args, unit)  # before a table is built: what is wrong in it is told at once
    table = with_off(opened(unit, file=args.table), readings.rows, usual=None)
    with shown("Comparing"):
        verdict = lostgain.match(table, readings, rates, known)
        limits = lostgain.limits(table, verdict, lostgain.instruments(unit.folder)[unit.setup.instrument])
        step = lostgain.next_line(lostgain.next_reading(table, readings, verdict, rates, known), unit)
    tried = _two_at_once(table, readings, verdict, rates)
    if args.json:
        record = lostgain.verdict_record(verdict, limits, tried, step)
        print(json.dumps(record, ensure_ascii=False, allow_nan=False))
    else:
        print(lostgain.verdict_text(verdict, unit, readings, limits, tried))
        print("", *wrapped(f"Next: {step}"), sep="\n")
    if args.pictures is not None:
        with shown("Drawing"):
            drawn = lostgain.verdict_pictures(table, readings, verdict, args.pictures)
        written(drawn)


def _two_at_once(
    table: lostgain.Table, readings: lostgain.Readings, verdict: lostgain.Verdict, rates: lostgain.Rates
) -> lostgain.Tried | None:
    """Try pairs of failures where no single one explains the readings."""
    if not lostgain.unexplained_alone(verdict):
        return None
    with lostgain.Pool() as pool, shown("No single fault explains this; trying two at once") as line:
        return lostgain.two_at_once(table, readings, pool, rates, progress=line)
