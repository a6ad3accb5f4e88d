"""The words of the command line: a parser whose complaints are in lostgain's own form."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NoReturn

import lostgain
from lostgain.problems import Problem, nearest


class Parser(argparse.ArgumentParser):
    """An argument parser that says what is wrong in one line, and how the command is used in another."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{"allow_abbrev": False, **options})

    def error(self, message: str) -> NoReturn:
        """Say what is wrong, and end with exit code 2."""
        print(f"{Problem(message)}\n{self.format_usage().strip()}", file=sys.stderr)
        raise SystemExit(2)


def unknown_command(word: str, known: Iterable[str]) -> str:
    """Return what to say of a command that does not exist."""
    return f"there is no command '{word}'. {nearest(word, known)}".strip()


def unknown_options(words: list[str], parser: argparse.ArgumentParser) -> str:
    """Return what to say of words that a command does not take."""
    known = [option for action in parser._actions for option in action.option_strings if option.startswith("--")]
    word = words[0]
    if word.startswith("-"):
        return f"there is no option '{word}'. {nearest(word.partition('=')[0], known)}".strip()
    return f"'{word}' is one word too many."


def unit_argument(parser: argparse.ArgumentParser) -> None:
    """Add the unit that a command is about."""
    parser.add_argument("unit", metavar="UNIT", help="a unit's folder, its unit file, or the name of a shipped unit")


def unit_to_compare(args: argparse.Namespace) -> lostgain.Unit:
    """Open a unit to compare readings with; a mistake in its allowances is told before anything is simulated."""
    unit = lostgain.open_unit(args.unit)
    lostgain.allowances(unit.folder)
    return unit


def table_argument(parser: argparse.ArgumentParser) -> None:
    """Add the file that a signature table is to be opened from."""
    parser.add_argument("--table", metavar="FILE", type=Path,
                        help="use the signature table in this file, which lostgain table --out wrote")  # fmt: skip


def count(text: str) -> int:
    """Read a number of workers."""
    if not text.isdecimal() or not 1 <= int(text) <= 256:
        raise argparse.ArgumentTypeError(f"'{text}' is no number of workers from 1 to 256")
    return int(text)


def whole(text: str) -> int:
    """Read a whole number."""
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no whole number. Example: 2") from None


def years(text: str) -> float:
    """Read an age in years; whether it can be is not said here."""
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no number of years. Example: 30") from None


def scheduler(text: str) -> str:
    """Read the address of a scheduler, with a protocol or without: with any other, Dask would be waited for."""
    form = r"(?:(?:tcp|tls|ws|wss)://)?(?:\[[0-9A-Fa-f:.]+\]|[\w.-]+):([0-9]{1,5})"
    found = re.fullmatch(form, text)
    if found is None or not 0 < int(found[1]) < 65_536:
        raise lostgain.UserError(
            f"no Dask scheduler can be reached at '{text}'. Expected HOST:PORT, for example bench-pc:8786."
        )
    return text


def known_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what a technician knows besides readings."""
    parser.add_argument("--suspect", metavar="PART", action="append", default=[], help="a part you suspect; repeatable")
    parser.add_argument("--new", metavar="PART", action="append", default=[],
                        help="a part that was changed for a new one; repeatable")  # fmt: skip
    parser.add_argument("--stage", metavar="NAME", default="", help="the stage that the fault was found to be in")
    parser.add_argument("--age", metavar="YEARS", type=years, help="age of the unit in years")
    parser.add_argument("--note", metavar="TEXT", action="append", default=[],
                        help='what else is known: "dropped", "electrolytics all original"; repeatable')  # fmt: skip


def known_of(args: argparse.Namespace, unit: lostgain.Unit) -> lostgain.Knowledge | None:
    """Return what the technician knows, or None where nothing was said."""
    if not (args.suspect or args.new or args.note or args.stage or args.age is not None):
        return None
    return lostgain.known(unit, args.suspect, args.age, args.note, args.new, args.stage)
