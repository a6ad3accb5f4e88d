"""``lostgain next``: what to read or do next."""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

import lostgain
from lostgain.cli.off import off_argument, stay_off_argument, with_off
from lostgain.cli.progress import shown
from lostgain.cli.table import opened
from lostgain.cli.words import known_arguments, known_of, table_argument, unit_argument, unit_to_compare
from lostgain.readings.fits import refuse_unsimulated
from lostgain.report.text_layout import wrapped


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "next", help="what to read or do next, so that the part is found soonest"
    )
    unit_argument(parser)
    parser.add_argument("readings", metavar="READINGS", nargs="?", help="a readings file (CSV); none before the first")
    parser.add_argument("--rates", metavar="SET", default="bench",
                        help="failure rates to start from: bench (if not given) or handbook")  # fmt: skip
    known_arguments(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    table_argument(parser)
    off_argument(parser, "weigh readings with the power off too; simulated once, then always weighed")
    stay_off_argument(parser)
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Rank what could be read or done next."""
    unit = unit_to_compare(args)
    rates = lostgain.rates(args.rates)
    readings = lostgain.Readings(())
    if args.readings is not None:  # a sheet on which nothing is written yet, or only what a probe can't reach, will do
        readings = lostgain.read_readings(args.readings, unit, may_be_empty=True)
    refuse_unsimulated(readings, unit)
    known = known_of(args, unit)
    table = with_off(opened(unit, file=args.table), readings.rows, usual=args.power_off or args.stay_off or None)
    with shown("Weighing what could be read"):
        verdict = lostgain.match(table, readings, rates, known) if readings.rows else None
        step = lostgain.next_reading(table, readings, verdict, rates, known, live=not args.stay_off)
    for warning in verdict.warnings if verdict is not None else readings.warnings:
        print(*wrapped(f"! {warning}"), sep="\n", file=sys.stderr)
    if args.json:
        print(json.dumps(lostgain.next_record(step, unit), ensure_ascii=False, allow_nan=False))
    else:
        print(lostgain.next_text(step, unit))
