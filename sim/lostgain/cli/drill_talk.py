"""The conversation of ``lostgain drill``: what is typed, and what the bench answers."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

import lostgain
from lostgain.cli.files import written
from lostgain.cli.progress import shown
from lostgain.report import text_drill as text
from lostgain.report.pictures.scope import scope
from lostgain.report.text_layout import wrapped
from lostgain.report.text_letters import letters_for
from lostgain.teach import keep
from lostgain.teach.drill import Answer, do
from lostgain.teach.record import Drill
from lostgain.teach.rig import Rig


class DrillTalk:
    """The conversation.

    Parameters
    ----------
    drill : Drill
    rig : Rig
    path : Path
        Where the drill is kept after every step.
    folder : Path or None
        Where oscilloscope pictures go.
    """

    def __init__(self, drill: Drill, rig: Rig, path: Path, folder: Path | None = None) -> None:
        self.drill, self.rig, self.path, self.folder = drill, rig, path, folder
        self.pictures = True

    def go_on(self) -> None:
        """Ask and answer until the drill ends, the apprentice pauses, or there is no more input."""
        if sys.stdin.isatty():
            with contextlib.suppress(ImportError):
                import readline  # noqa: F401 -- arrow keys and history at the prompt
        while not self.drill.ended:
            typed = self._ask()
            if typed is None or typed.casefold() in ("end", "stop", "quit", "exit"):
                return
            if not typed or self._shown(typed.casefold()):
                continue
            try:
                with shown("Simulating"):
                    answer = do(self.drill, self.rig, typed)
            except lostgain.UserError as error:
                for each in error.problems:
                    print(*wrapped(f"{each.message} {each.meant}".strip(), "  "), sep="\n")
                continue
            self.drill = answer.drill
            keep.write(self.drill, self.path)
            self._tell(answer)

    def _ask(self) -> str | None:
        try:
            typed = input("drill: ")
        except EOFError:
            print()
            return None
        if not sys.stdin.isatty():
            print("\n".join(["", *wrapped(typed, "> ")]))  # no terminal has shown it
        return " ".join(typed.split())

    def _shown(self, typed: str) -> bool:
        """Show what a word asks for; tell whether it was one of those."""
        word, _, rest = typed.partition(" ")
        unit = self.rig.unit
        if word == "pictures":
            self.pictures = {"on": True, "off": False}.get(rest, self.pictures)
            asked = "" if rest in ("on", "off") else "; type pictures on or pictures off to change that"
            come = f"Readings come {'with' if self.pictures else 'without'} the oscilloscope's picture{asked}."
            print(*wrapped(come, "  "), sep="\n")
            return True
        shows = {"order": lambda: text.order_text(self.drill, unit), "list": lambda: text.steps_text(self.drill, unit),
                 "help": lambda: text.help_text(unit)}  # fmt: skip
        of_stage = {"points": text.points_text, "parts": text.parts_text}
        if word in of_stage:
            print(of_stage[word](unit, rest))
        elif typed in shows:
            print(shows[typed]())
        return word in of_stage or typed in shows

    def _tell(self, answer: Answer) -> None:
        print(text.answer_text(self.drill, answer.step, self.rig.unit))
        if answer.hazard is not None:
            print(*wrapped(f"The drill stops here. {answer.hazard.says}", "  ! "), sep="\n")
            return
        reading, seen = answer.step.reading, answer.seen
        if reading is None or seen is None or reading.frequency is None or not reading.instrument.startswith("scope"):
            return
        title = text.step_title(answer.step, self.rig.unit)
        if self.pictures:
            print(text.scope_text(seen, reading.frequency, title, letters_for(sys.stdout.encoding)))
        if self.folder is not None:
            path = scope(seen, reading.frequency, title, self.folder / f"step-{len(self.drill.steps):03}.png")
            written([path])
