"""The benchmarks' command line: ``python -m benchmarks accuracy``; ``scripts/bench`` sets up and calls it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from benchmarks import speed
from benchmarks.accuracy import accuracy, together
from benchmarks.endurance import CIRCUITS, endurance
from benchmarks.repairs import FULL, QUICK, Plan, stored
from lostgain.problems import UserError


def main(arguments: list[str] | None = None) -> int:
    """Run a benchmark and return the exit code."""
    parser = argparse.ArgumentParser(prog="scripts/bench", description="Measures how good lostgain is.")
    commands = parser.add_subparsers(dest="command", required=True)
    one = commands.add_parser("accuracy", help="how good the diagnosis is, on simulated repairs")
    shelf = commands.add_parser("store", help="simulate repairs and put them beside the code, where they are found")
    for parser_of in (one, shelf):
        _say_how_many(parser_of)
    one.add_argument("--no-references", action="store_true", help="leave out what is compared with other methods")
    one.add_argument("--out", type=Path, default=Path("bench-accuracy.json"), help="where the figures go")
    one.add_argument("--outcomes", type=Path, metavar="FOLDER",
                     help="keep there what was answered to each case, a file a unit")  # fmt: skip
    all_ = commands.add_parser("together", help="figures over all units whose outcomes are kept, from runs one by one")
    all_.add_argument("outcomes", type=Path, metavar="FOLDER", help="what accuracy was given as --outcomes")
    all_.add_argument("--out", type=Path, default=Path("bench-accuracy.json"), help="where the figures go")
    endure = commands.add_parser("endurance", help="many circuits through one pool: memory, processes, failures")
    endure.add_argument("--circuits", type=_count, default=CIRCUITS)
    endure.add_argument("--seed", type=_count, default=1)
    endure.add_argument("--workers", type=_count, default=2)
    endure.add_argument("--out", type=Path, default=Path("bench-endurance.json"), help="where the figures go")
    fast = commands.add_parser("speed", help="what a signature table costs, and whether it is a plain build's")
    fast.add_argument("--quick", action="store_true", help="a small unit and few rows, for daily work")
    fast.add_argument("--seed", type=_count, default=1)
    fast.add_argument("--unit", action="append", default=[], help="only this unit; may be given more than once")
    fast.add_argument("--out", type=Path, default=Path("bench-speed.json"), help="where the figures go")
    given = parser.parse_args(arguments)
    return {"accuracy": _accuracy, "store": _store, "together": _together, "endurance": _endurance,
            "speed": _speed}[given.command](given)  # fmt: skip


def _say_how_many(parser: argparse.ArgumentParser) -> None:
    """Add the options that say how much is simulated."""
    parser.add_argument("--quick", action="store_true", help="few cases, for daily work")
    parser.add_argument("--cases", type=_count, help="simulated repairs a unit; as many healthy ones as ever")
    parser.add_argument("--seed", type=_count, default=1)
    parser.add_argument("--unit", action="append", default=[], help="only this unit; may be given more than once")
    parser.add_argument("--each", type=_count, metavar="N",
                        help="circuits of each part and mode that the other methods learn from "
                             f"(default {FULL['each']}, with --quick {QUICK['each']})")  # fmt: skip
    parser.add_argument("--follow", type=_whole, metavar="N",
                        help="simulated repairs a unit that are followed from reading to reading "
                             f"(default {FULL['follow']}, with --quick {QUICK['follow']}; 0 for none)")  # fmt: skip
    parser.add_argument("--workers", type=_count, default=2)


def _plan(given: argparse.Namespace) -> Plan:
    size = dict(QUICK if given.quick else FULL)
    if given.cases:
        # What marks a fault is read off the healthy units, and outsiders are few as it is: cheaper is no fewer of them.
        share = given.cases / size["cases"]
        size = {**size, "cases": given.cases, "healthy": max(size["healthy"], round(share * size["healthy"])),
                "outsiders": max(40, round(share * size["outsiders"]))}  # fmt: skip
    if given.follow is not None:
        size["follow"] = given.follow
    if given.each:
        size["each"] = given.each
    return Plan(**size, seed=given.seed, workers=given.workers)


def _accuracy(given: argparse.Namespace) -> int:
    plan = _plan(given)
    if given.no_references:
        plan = replace(plan, each=0)
    return _stoppable(lambda: accuracy(given.unit, plan, given.out, _say, given.outcomes))


def _store(given: argparse.Namespace) -> int:
    return _stoppable(lambda: stored(given.unit, _plan(given), _say))


def _stoppable(run: Callable[[], object]) -> int:
    """Run what goes on from where it was stopped, and return the exit code."""
    try:
        run()
    except UserError as error:
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("Stopped. What is simulated is kept; the same command goes on from there.", file=sys.stderr)
        return 130
    return 0


def _together(given: argparse.Namespace) -> int:
    try:
        together(given.outcomes, given.out, _say)
    except UserError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


def _endurance(given: argparse.Namespace) -> int:
    try:
        endurance(given.circuits, given.workers, given.seed, given.out, _say)
    except KeyboardInterrupt:
        print("Stopped; nothing is written.", file=sys.stderr)
        return 130
    return 0


def _speed(given: argparse.Namespace) -> int:
    units = given.unit or ([speed.SMALL] if given.quick else [speed.DEMO, speed.SMALL])
    try:
        speed.speed(units, speed.QUICK if given.quick else speed.FULL, given.seed, given.out, _say)
    except UserError as error:
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("Stopped; nothing is written.", file=sys.stderr)
        return 130
    return 0


def _say(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


def _count(text: str) -> int:
    return _whole(text, 1)


def _whole(text: str, least: int = 0) -> int:
    if not text.isdecimal() or int(text) < least:
        raise argparse.ArgumentTypeError(f"{text!r}: expected a whole number, {least} or more")
    return int(text)


if __name__ == "__main__":
    sys.exit(main())
