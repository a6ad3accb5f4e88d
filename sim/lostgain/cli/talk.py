"""The conversation of ``lostgain bench``: what is asked, and what each answer does."""

from __future__ import annotations

import contextlib
import re
import sys
from collections.abc import Callable

import lostgain
from lostgain.bench.session import Session, is_value
from lostgain.cli.progress import shown
from lostgain.diagnosis.next_model import NextReading
from lostgain.problems import nearest
from lostgain.report.text_bench import HELP, asked_text, bare_unit, readings_text, suspects_text, value_shown
from lostgain.report.text_layout import clean, wrapped
from lostgain.report.text_next import conclusion, cost, foretold_text


class Talk:
    """The conversation: what is asked, and what each answer does.

    Parameters
    ----------
    session : Session
    """

    def __init__(self, session: Session) -> None:
        self.session = session
        self.unit = session.table.circuit.unit
        self.said: set[str] = set()
        self.chosen: dict[str, str] | None = None
        self.asked: NextReading | None = None
        self.words: dict[str, Callable[[str], bool]] = {
            "back": self.back, "undo": self.back, "correct": self.correct, "reach": self.reach, "good": self.good,
            "list": self.listed, "more": self.more, "help": self.helped, "?": self.helped,
        }  # fmt: skip

    def go_on(self) -> None:
        """Ask and answer until there is no more input or the technician ends."""
        if sys.stdin.isatty():
            with contextlib.suppress(ImportError):
                import readline  # noqa: F401 -- arrow keys and history at the prompt
        fresh = True
        while True:
            if fresh:
                self.show()
            answer = self.ask()
            if answer is None or answer.casefold() in ("end", "stop", "quit", "exit"):
                return
            try:
                fresh = self.answer(" ".join(answer.split()))
            except lostgain.UserError as error:
                fresh = False
                for each in error.problems:
                    self.say(f"{each.message} {each.meant}".strip())

    def show(self) -> None:
        """Show suspects and what to do next."""
        if self.session.lacks():
            with shown("Simulating meters with the power off") as line:
                self.session.simulate(line)
        with shown("Weighing"):
            verdict = self.session.verdict()
            step = self.session.step(verdict)
        self.asked = step.reading
        print()
        for warning in verdict.warnings if verdict is not None else ():
            if warning not in self.said:
                self.said.add(warning)
                self.say(f"! {warning}")
        if verdict is not None:
            print(suspects_text(verdict))
        if step.stop:
            self.say(f"=> {conclusion(step, self.unit)}")
        best = step.ranked[0] if step.ranked else None
        if best is not None and not isinstance(best, NextReading) and not step.stop:
            self.say(f"Or: {best.text} ({cost(best)})")
        if self.asked is None:
            self.say("Nothing in reach is left to read.")
        elif not self.chosen:
            lead = "If you read on: " if step.stop else "Next: "
            self.say(f"{lead}{asked_text(self.asked, self.unit)} ({cost(self.asked)})")
            self.say(foretold_text(self.asked), "     ")

    def ask(self) -> str | None:
        """Return what was typed, or None at the end of input."""
        if self.chosen is not None:
            prompt = ", ".join(self.chosen.values())
        elif self.asked is not None:
            prompt = f"{asked_text(self.asked, self.unit)} [{bare_unit(self.asked)}]"
        else:
            prompt = "test point"
        try:
            typed = input(f"{clean(prompt)}: ")
        except EOFError:
            print()
            return None
        if not sys.stdin.isatty():
            print("\n".join(["", *wrapped(typed, "> ")]))  # no terminal has shown it
        return typed

    def answer(self, text: str) -> bool:
        """Do what an answer says, and tell whether suspects and the next reading are to be shown again."""
        word, _, rest = text.partition(" ")
        if word.casefold() in self.words and not self._is_point(text):
            return self.words[word.casefold()](rest.strip())
        if not text:
            return self.another()
        if "=" in text and not text.startswith("="):
            place, _, value = text.partition("=")
            return self.take(self.session.place(place.strip()), value.strip())
        if self.chosen is not None and not self._is_point(text):
            return self.take(self.chosen, text)
        if self.asked is not None and is_value(text, self.asked):
            return self.take(self.session.cells_of(self.asked), text, bare_unit(self.asked))
        try:
            self.chosen = self.session.place(text)
        except lostgain.UserError:
            near = nearest(word.casefold(), self.words)
            if not near.startswith("Did"):
                raise
            self.say(f"'{word}' is no word here. {near}")
        return False

    def _is_point(self, text: str) -> bool:
        try:
            self.session.place(text)
        except lostgain.UserError:
            return False
        return True

    def take(self, cells: dict[str, str], value: str, unit: str = "") -> bool:
        """Write a reading down."""
        for warning in self.session.take(cells, value, unit):
            self.say(f"! {warning}")
        self.chosen = None
        return True

    def another(self) -> bool:
        """Ask for another reading: the next best."""
        if self.chosen is not None:
            self.chosen = None
        elif self.asked is not None:
            self.session.pass_over(self.asked)
        return True

    def back(self, rest: str) -> bool:
        """Take a reading back."""
        gone = self.session.take_back(self._number(rest) if rest else -1)
        self.say("There is no reading to take back." if gone is None else
                 f"Taken back: {asked_text(gone, self.unit)}, {value_shown(gone)}.")  # fmt: skip
        self.chosen = None
        return gone is not None

    def correct(self, rest: str) -> bool:
        """Give a reading another value."""
        found = re.fullmatch(r"(\d+)\s*(?:=|\s)\s*(.+)", rest)
        if not found:
            raise lostgain.UserError("write the number of the reading and its value: correct 3 = 1.2 Vpp.")
        number = self._number(found[1])
        old = self.session.readings.rows[number]
        for warning in self.session.take(self.session.cells_of(old), found[2], bare_unit(old), number):
            self.say(f"! {warning}")
        return True

    def _number(self, text: str) -> int:
        count = len(self.session.readings.rows)
        if not text.isdecimal() or not 1 <= int(text) <= count:
            known = f"they are numbered 1 to {count}" if count else "there are none so far"
            raise lostgain.UserError(f"'{text}' is the number of no reading; {known}.")
        return int(text) - 1

    def reach(self, rest: str) -> bool:
        """Take back that a test point can't be reached."""
        self.session.reachable_again(rest)
        return True

    def good(self, rest: str) -> bool:
        """Say which channel is good."""
        self.session.good_channel(rest)
        return True

    def listed(self, rest: str) -> bool:
        """List the readings."""
        del rest
        print(readings_text(self.session.readings, self.unit))
        return False

    def more(self, rest: str) -> bool:
        """Show everything."""
        del rest
        verdict = self.session.verdict()
        if verdict is not None:
            print(lostgain.verdict_text(verdict, self.unit, self.session.readings), end="\n\n")
        print(lostgain.next_text(self.session.step(verdict), self.unit, most=12))
        return False

    def helped(self, rest: str) -> bool:
        """Say what can be typed."""
        del rest
        print(HELP)
        return False

    def say(self, text: str, indent: str = "") -> None:
        """Print a paragraph."""
        if text:
            print("\n".join(wrapped(text, indent or "  ", indent or None)))
