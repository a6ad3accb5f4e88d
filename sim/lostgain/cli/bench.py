"""``lostgain bench``: asks for readings one at a time, and shows suspects and the next reading after each."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import file_to_write
from lostgain.cli.off import off_argument, stay_off_argument, with_off
from lostgain.cli.table import opened
from lostgain.cli.words import known_arguments, known_of, table_argument, unit_argument, unit_to_compare
from lostgain.report.text_layout import clean, wrapped


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "bench", help="ask for readings one at a time, and name the next after each"
    )
    unit_argument(parser)
    parser.add_argument("readings", metavar="READINGS", nargs="?", type=Path,
                        help="the readings file to go on with or to start; UNIT-readings.csv if not given")  # fmt: skip
    parser.add_argument("--rates", metavar="SET", default="bench",
                        help="failure rates to start from: bench (if not given) or handbook")  # fmt: skip
    known_arguments(parser)
    table_argument(parser)
    off_argument(parser, "ask for readings with the power off too; simulated once, then always weighed")
    stay_off_argument(parser)
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Ask for readings until the technician ends."""
    from lostgain.bench.session import Session  # these load what only simulations need
    from lostgain.cli.talk import Talk

    if sys.stdin is None:
        raise lostgain.UserError("bench asks for readings, and there is no input that answers could come from.")
    unit = unit_to_compare(args)
    rates = lostgain.rates(args.rates)
    knowledge = known_of(args, unit)
    path = args.readings if args.readings is not None else Path(f"{unit.name}-readings.csv")
    if path.exists():
        lostgain.read_readings(path, unit, may_be_empty=True)  # a mistake in it is told before the table is built
    file_to_write(path)
    table = with_off(opened(unit, file=args.table), usual=args.power_off or args.stay_off or None)
    session = Session(table, path, rates, knowledge, live=not args.stay_off)
    count = session.open()
    so_far = f", which holds {count} so far." if count else "."
    for text in (unit.title + (" (an invented example)" if unit.invented else ""),
                 f"Readings go to {path}{so_far}", "Type a value, another test point, or help."):  # fmt: skip
        print("\n".join(wrapped(text)))
    try:
        Talk(session).go_on()
    except KeyboardInterrupt:
        kept = f"All readings are in {clean(str(path))}; the" if path.exists() else "No reading was entered; the"
        raise KeyboardInterrupt(f"\nStopped. {kept} same command goes on from there.") from None
    if path.exists():
        print(f"All readings are in {clean(str(path))}.", file=sys.stderr)
    else:
        print("No reading was entered, and no file was made.", file=sys.stderr)
