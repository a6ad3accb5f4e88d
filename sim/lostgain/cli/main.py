"""The command ``lostgain``: reads the words, hands them to the command meant, and says what went wrong."""

from __future__ import annotations

import argparse
import errno
import os
import sys
from collections.abc import Callable, Sequence
from importlib import import_module

from lostgain.cli.letters import settle_output
from lostgain.cli.words import Parser, unknown_command, unknown_options
from lostgain.problems import NoWorker, UserError

#: The commands, and the files they are in where those are called otherwise. They are loaded when the words are read,
#: so that Ctrl-C ends that as it ends anything.
COMMANDS = {"units": "", "stage": "", "check": "", "predict": "", "table": "", "sheet": "", "match": "", "next": "",
            "bench": "", "explain": "", "route": "", "drill": "", "progress": "progressed", "mark": "",
            "import": "import_netlist"}  # fmt: skip
#: Exit codes: something the user can mend; stopped by Ctrl-C; the reader of a pipe has gone (128 + signal's number).
MENDABLE, STOPPED, NO_READER = 2, 130, 141


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code.

    Parameters
    ----------
    argv : sequence of str or None
        Words after ``lostgain``; those of this process if None.

    Returns
    -------
    int
        0, 2 for anything the user can mend, 130 when stopped. Any other mistake is lostgain's own, and is raised.
    """
    words = list(sys.argv[1:] if argv is None else argv)

    def run() -> None:
        args = _read(words)
        args.run(args)

    return guarded(run)


def guarded(run: Callable[[], None]) -> int:
    """Do something and return its exit code, with what went wrong said on stderr; see `main`."""
    settle_output()
    try:
        run()
        sys.stdout.flush()
    except SystemExit as asked:  # argparse: --help, or words it does not take
        return asked.code if isinstance(asked.code, int) else MENDABLE
    except UserError as error:
        print(*map(_said, error.problems), sep="\n", file=sys.stderr)
        return MENDABLE
    except BrokenPipeError:
        # Python would complain again when it flushes stdout at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return NO_READER
    except OSError as error:
        if error.errno != errno.ENOSPC:
            raise
        print(f"The disk is full: {error.strerror}. Nothing half-written is kept.", file=sys.stderr)
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return MENDABLE
    except NoWorker as error:
        print(f"{str(error).capitalize()}. The computer is too busy, or its memory is full: the same command goes on",
              "from what was simulated.", file=sys.stderr)  # fmt: skip
        return MENDABLE
    except KeyboardInterrupt as stop:
        print(str(stop) or "Stopped.", file=sys.stderr)
        return STOPPED
    return 0


def _said(problem: object) -> str:
    """Return a mistake's message without anything a terminal could take for a command: it quotes the user's file."""
    return "".join(sign if sign.isprintable() or sign == "\n" else "?" for sign in str(problem))


def _read(words: list[str]) -> argparse.Namespace:
    parser = Parser(prog="lostgain", description="Finds the failed part of an audio unit from bench readings.",
                    epilog="lostgain COMMAND --help says more about a command.")  # fmt: skip
    commands = parser.add_subparsers(metavar="COMMAND", required=True, dest="command", parser_class=Parser)
    own = {name: import_module(f"lostgain.cli.{file or name}").add(commands) for name, file in COMMANDS.items()}
    first = next((word for word in words if not word.startswith("-")), None)
    if first is not None and first not in COMMANDS:
        parser.error(unknown_command(first, COMMANDS))
    if first is None and words and not {"-h", "--help"} & set(words):
        parser.error(unknown_options(words, parser))
    args, rest = parser.parse_known_args(words)
    if rest:
        own[args.command].error(unknown_options(rest, own[args.command]))
    return args
