"""The debrief of a drill, in the terminal."""

from __future__ import annotations

from lostgain.quantities import show
from lostgain.report.shares import percent
from lostgain.report.text_bench import asked_text
from lostgain.report.text_drill import step_title
from lostgain.report.text_layout import joined, section, table, wrapped
from lostgain.report.text_letters import Letters, letters_for
from lostgain.report.text_wave import text_wave
from lostgain.signatures.sentences import changed
from lostgain.teach.debrief import Debrief, Known
from lostgain.teach.hazards import hazard
from lostgain.teach.policy import Round
from lostgain.teach.record import UNSAFE
from lostgain.unit import called
from lostgain.unit.model import Unit

#: Readings of the policy that are listed each time before it changed something.
SHOWN = 8
_STOPS = {
    "sure": "sure of one part", "alike": "down to parts that nothing in reach tells apart",
    "idle": "at an end: no reading left would change what to do", "healthy": "sure that nothing is wrong",
    "unexplained": "at a loss: no single part explains it", "given up": "no further",
}  # fmt: skip


def debrief_text(looked: Debrief, unit: Unit, encoding: str | None = "utf-8") -> str:
    """Return a drill looked back at.

    Parameters
    ----------
    looked : Debrief
    unit : Unit
    encoding : str or None
        Of the output: the picture is drawn in characters it has.
    """
    lines = _what_was_known(looked, unit)
    return joined([
        _verdict(looked), [*section("What had failed"), *_failed(looked)], _wave(looked, unit, letters_for(encoding)),
        [*section("Beside the policy of lostgain next"), *_beside(looked, unit)],
        [*section("Step by step"), *_steps(looked, unit)],
        [*section("What was known, and when"), *lines] if lines else [],
        _traps(looked),
    ])  # fmt: skip


def _verdict(looked: Debrief) -> list[str]:
    drill, score = looked.drill, looked.score
    if drill.ended == UNSAFE:
        volts = show(0.0, "V")
        found = hazard(drill.hazard, volts=volts, why="it is harmed by that")
        return wrapped(f"Stopped by an unsafe act: {found.title}.")
    lines = wrapped("Repaired." if score.solved else "Not repaired: the unit comes back.")
    if score.needless:
        lines += wrapped(f"Changed without need: {', '.join(score.needless)}.")
    if score.solved:
        lines += wrapped(f"Mark: {score.share * 100:.0f} %, the policy's minutes over yours.")
    return lines


def _failed(looked: Debrief) -> list[str]:
    hidden = looked.drill.hidden
    where = f" ({hidden.channel})" if len(looked.prediction.circuit.unit.channels) > 1 else ""
    lines = [line for text in looked.failed
             for line in wrapped(f"{text[:1].upper()}{text[1:]}{where}.", "  ")]  # fmt: skip
    if hidden.condition:
        lines += wrapped(f"It showed under one condition: {hidden.condition}.", "  ")
    return [*lines, *wrapped("With all other parts at their nominal values:", "  "),
            *[line for text in looked.does for line in wrapped(text, "  ")]]  # fmt: skip


def _wave(looked: Debrief, unit: Unit, letters: Letters) -> list[str]:
    """Draw the signal where it first changes, healthy beside faulty."""
    off = changed(looked.prediction).nonzero()[0]
    if not len(off):
        return []
    channel = next(each for each in unit.channels if each.name == looked.drill.hidden.channel)
    point = looked.prediction.points[int(off[0])]
    return text_wave(looked.prediction, point, 0, letters, named=called(channel, point))


def _beside(looked: Debrief, unit: Unit) -> list[str]:
    score, best = looked.score, looked.score.best
    rows = [["you", f"{score.minutes:.3g} min", str(score.readings), f"{score.money:.2f}"],
            ["the policy", f"{best.minutes + best.repair:.3g} min", str(len(best.readings)), ""]]  # fmt: skip
    lines = table(rows, "<>>>", ["", "time, repair included", "readings", "parts"])
    return lines + _rounds(looked, unit)


def _rounds(looked: Debrief, unit: Unit) -> list[str]:
    """Return what the policy read each time before it changed something, and what became of it."""
    lines: list[str] = []
    for number, each in enumerate(looked.score.best.rounds):
        taken = "; ".join(asked_text(one, unit) for one in each.readings[:SHOWN])
        taken += f"; and {len(each.readings) - SHOWN} more" if len(each.readings) > SHOWN else ""
        who = "The policy read" if number == 0 else "Then it read"
        lines += wrapped(f"{who}: {taken or 'nothing more than what was read on arrival'}. It was "
                         f"{_STOPS.get(each.stop, each.stop)}.", "  ")  # fmt: skip
        if each.parts:
            lines += wrapped(f"It had come down to {', '.join(name for name, _ in each.parts)}: {_rank(each)}.", "  ")
    if not looked.score.best.solved:
        lines += wrapped("It did not come to all that had failed; its time counts looking further.", "  ")
    return lines


def _rank(each: Round) -> str:
    if not each.right:
        return "changed in vain"
    return "changed, and right" if len(each.parts) == 1 else f"number {each.right} of them was right"


def _steps(looked: Debrief, unit: Unit) -> list[str]:
    rows = []
    for number, (step, bits) in enumerate(zip(looked.drill.steps, looked.score.told, strict=True), 1):
        weighed = step.reading is not None and step.compared
        told = f"{_no_minus(bits, 2):+.2f} bit" if weighed else ""
        result = step.reading.text if step.reading is not None else step.says
        rows.append([str(number), step_title(step, unit), result, f"{step.minutes:g} min", told])
    if not rows:
        return ["  Nothing was done."]
    note = ("Told: by how much what to do was less unsure after a reading, in bits; a bit is one halving of the "
            "possibilities, and less than nothing is a reading that raised a doubt. Empty: nothing to weigh, as while "
            "an intermittent fault did not show, in another set-up, or read before.")  # fmt: skip
    return [*table(rows, "><<>>", ["", "Step", "", "", "told"]), *wrapped(note, "  ")]


def _no_minus(bits: float, figures: int) -> float:
    """Return a number of bits rounded, nothing without a sign."""
    return round(bits, figures) + 0.0


def _what_was_known(looked: Debrief, unit: Unit) -> list[str]:
    lines: list[str] = []
    if len(looked.drill.hidden.faults) > 1 and looked.known:
        note = ("Each time one fault is looked for, as a match does: until one of two is mended, what is said of "
                "either may be wrong, and something else than any one fault is likely.")  # fmt: skip
        lines += wrapped(note, "  ")
    before = ""
    for each in looked.known:
        lines += _known(each, unit)
        if each.better is not None:
            sooner = asked_text(each.better.reading, unit)
            if sooner != before:  # what was not read then is the better choice next time, too: said once
                lines += wrapped(f"Sooner: {sooner}, expected to tell {each.better.bits:.1f} bit; "
                                 f"this one told {_no_minus(each.bits, 1):.1f}.", "    ")  # fmt: skip
            before = sooner
    return lines


def _known(each: Known, unit: Unit) -> list[str]:
    when = "On arrival" if each.step < 0 else f"Step {each.step + 1}"
    suspects = ", ".join(f"{name} {percent(share)}" for name, share in each.suspects)
    if each.reading is None:
        return wrapped(f"{when}: one fault is mended, another is left. What was read before was the two together, and "
                       f"is weighed no more. Before it is read again: {suspects}.", "    ", "  ")  # fmt: skip
    lines = wrapped(f"{when}: {asked_text(each.reading, unit)}, {each.reading.text}: {suspects}.", "    ", "  ")
    if each.out:
        lines += wrapped(f"Excluded: {', '.join(each.out)}.", "    ")
    return lines


def _traps(looked: Debrief) -> list[str]:
    if not looked.traps:
        return []
    lines = section("Traps")
    for each in looked.traps:
        lines += wrapped(f"Step {each.step + 1}: {each.title}. {each.says}", "    ", "  ")
    return lines
