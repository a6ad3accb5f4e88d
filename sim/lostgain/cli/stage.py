"""``lostgain stage``: the stages of the library, in words and drawn."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import file_to_write, writing

#: Options that name a file to draw into, which are also the suffixes it must end in.
_PICTURES = ("png", "svg", "pdf")


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "stage", help="show a stage of the library: what it does, its parts, its drawing"
    )
    parser.add_argument("name", metavar="NAME", nargs="?",
                        help="a stage of the library, or with --unit one of the unit's; all if not given")  # fmt: skip
    parser.add_argument("--unit", metavar="UNIT", help="as this unit uses it, with its designators and test points")
    parser.add_argument("--channel", metavar="CHANNEL", default="", help="the unit's channel, its first if not given")
    for kind in _PICTURES:
        parser.add_argument(f"--{kind}", metavar="FILE", type=Path, help=f"draw it into this {kind.upper()} file")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Show one stage, or list all."""
    files = {kind: getattr(args, kind) for kind in _PICTURES if getattr(args, kind) is not None}
    if args.name is None:
        _refuse_alone(args, files)
        stages = lostgain.stages()
        if args.json:
            print(json.dumps([lostgain.stage_record(facts) for facts in stages], ensure_ascii=False, allow_nan=False))
        else:
            print(lostgain.stages_text(stages))
        return
    if args.channel and not args.unit:
        raise lostgain.UserError("--channel is a unit's: name the unit as well, with --unit.")
    placed = lostgain.placed_stage(lostgain.open_unit(args.unit), args.name, args.channel) if args.unit else None
    facts = lostgain.stage(args.name if placed is None else placed.stage.library)
    for kind, path in files.items():
        file_to_write(path, f".{kind}")
    if args.json:
        print(json.dumps(lostgain.stage_record(facts, placed), ensure_ascii=False, allow_nan=False))
    elif not files:
        print(lostgain.stage_text(facts, placed))
    for path in files.values():
        with writing(path):
            lostgain.draw_stage(facts.name, path, placed)


def _refuse_alone(args: argparse.Namespace, files: dict[str, Path]) -> None:
    """Refuse options that need a stage's name."""
    given = [name for name in ("unit", "channel") if getattr(args, name)] + list(files)
    if given:
        raise lostgain.UserError(f"--{given[0]} needs the name of a stage; lostgain stage lists them.")
