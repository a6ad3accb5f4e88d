"""A drill in the terminal: the work order, what may be typed, what a step has come to, and the scope's picture."""

from __future__ import annotations

from collections.abc import Iterable

from lostgain.quantities import show, show_level
from lostgain.readings import instruments
from lostgain.report.text_bench import asked_text
from lostgain.report.text_layout import table, wrapped
from lostgain.report.text_letters import BLOCKS, Letters
from lostgain.report.text_wave import DOWN, SCALE, trace
from lostgain.signatures.shapes import picture
from lostgain.teach.actions import acts
from lostgain.teach.looking import Seen
from lostgain.teach.meter import CYCLES, screen
from lostgain.teach.order import level
from lostgain.teach.record import Drill, Step
from lostgain.unit import called
from lostgain.unit.model import Unit
from lostgain.unit.summary import value_shown

READINGS = """\
  U2 pin 7              level there, at the generator's frequency
  U2 pin 7, 40 Hz       … at another; after commas may follow dc (read with
                        the generator off), ripple, distortion, a generator
                        level, a channel or an instrument
  R14, resistance       with the power off: across a part; C12, esr;
                        Q3 base to Q3 emitter, diode test; with a leg of it
                        lifted also C12, capacitance
  VP, current           what a rail delivers"""
OWN = (("order", "the work order again"), ("points [STAGE]", "the test points, all or of one stage"),
       ("parts [STAGE]", "the parts, all or of one stage"), ("list", "what was done so far"),
       ("pictures on|off", "the oscilloscope's picture with each reading, or none"), ("help", "this"),
       ("end", "pause here; --resume goes on"))  # fmt: skip


def order_text(drill: Drill, unit: Unit) -> str:
    """Return the work order, and what was read on arrival."""
    wanted = level(drill.hidden.level)
    lines = [*wrapped(f"Drill, level {wanted.number}: {wanted.title}"),
             *wrapped(unit.title + (" (an invented example)" if unit.invented else "")), "", "Work order"]  # fmt: skip
    for text in drill.order:
        lines += wrapped(text, "  ")
    # An intermittent unit may well work when it is first read at the bench.
    when = "While it failed" if drill.hidden.condition else "On arrival"
    for reading in drill.start:
        lines += wrapped(f"{when}: {asked_text(reading, unit)}: {reading.text}.", "  ")
    bench = drill.bench
    state = "on, through the lamp limiter" if bench.power else "off"
    lines += wrapped(f"The power is {state}. Generator: {show(bench.generator, 'V rms')} at "
                     f"{show(bench.frequency, 'Hz')}. Load: {bench.load or unit.setup.load.text}.", "  ")  # fmt: skip
    return "\n".join(lines)


def help_text(unit: Unit) -> str:
    """Return what may be typed, and where the healthy values are."""
    rows = [[f"{name} {act.follows}".rstrip(), act.says, f"{act.minutes:g} min"] for name, act in acts().items()]
    own = [[name, says, ""] for name, says in OWN]
    beside = (f"In another window, lostgain sheet {unit.name} says what a healthy one shows, and lostgain explain "
              f"{unit.name} how it works.")  # fmt: skip
    return "\n".join([READINGS, *table([*rows, *own], "<<>"), *wrapped(beside, "  ")])


def points_text(unit: Unit, stage: str = "") -> str:
    """Return the test points, stage by stage or of one stage, as each channel's board calls them."""
    rows = []
    wanted = [each for each in unit.points if _of(each.stage, stage)]
    for point in wanted:
        names = dict.fromkeys(called(each, point.name) for each in unit.channels)
        rows.append([point.stage, " / ".join(names), "" if point.reach else "out of reach", f"{point.minutes:g} min"])
    return "\n".join(table(rows, "<<<>") if rows else _no_stage(stage, (each.stage for each in unit.points)))


def parts_text(unit: Unit, stage: str = "") -> str:
    """Return the parts with their values, stage by stage or of one stage."""
    rows = []
    wanted = [each for each in unit.parts.values() if _of(each.stage, stage)]
    for part in wanted:
        names = dict.fromkeys(each.called(part.designator) for each in unit.channels)
        rows.append([part.stage, " / ".join(names), value_shown(part), part.kind, part.does])
    return "\n".join(table(rows) if rows else _no_stage(stage, (each.stage for each in unit.parts.values())))


def _of(stage: str, wanted: str) -> bool:
    """Tell whether a stage is meant: its name or how it begins."""
    return stage.casefold().startswith(wanted.casefold())


def _no_stage(wanted: str, stages: Iterable[str]) -> list[str]:
    return wrapped(f"No stage begins with '{wanted}': {', '.join(dict.fromkeys(stages))}.", "  ")


def steps_text(drill: Drill, unit: Unit) -> str:
    """Return what was done so far."""
    rows = [[str(number), step_title(each, unit), _result(each), f"{each.minutes:g} min"]
            for number, each in enumerate(drill.steps, 1)]  # fmt: skip
    lines = table(rows, "><<>") if rows else ["  Nothing so far."]
    return "\n".join([*lines, *wrapped(cost_text(drill), "  ")])


def step_title(step: Step, unit: Unit) -> str:
    """Return what a step was."""
    return asked_text(step.reading, unit) if step.reading is not None else step.typed


def _result(step: Step) -> str:
    return step.reading.text if step.reading is not None else step.says


def answer_text(drill: Drill, step: Step, unit: Unit) -> str:
    """Return what a step has come to, and what has been used so far."""
    said = step.says
    if step.reading is not None:
        said = f"{asked_text(step.reading, unit)} ({step.reading.instrument}): {step.reading.text}"
        if step.reading.quantity == "dc" and step.reading.channel:
            said += ", with the generator off"
        if step.reading.word == "nothing":
            least = instruments(unit.folder)[step.reading.instrument].floor_level
            said += f" that it could measure (below {show_level(least)})"
        said += f". {step.says}" if step.says else ""
    return "\n".join(wrapped(f"{said}  [{drill.minutes:g} min]", "  "))


def cost_text(drill: Drill) -> str:
    """Return what has been used so far."""
    return f"{drill.minutes:g} min, {len(drill.readings)} readings, parts for {drill.money:.2f}."


def scope_text(seen: Seen, frequency: float, title: str, letters: Letters = BLOCKS, width: int = 80) -> str:
    """Return the oscilloscope's picture: two cycles without DC.

    Parameters
    ----------
    seen : Seen
    frequency : float
        [Hz]
    title : str
    letters : Letters
    width : int
        Columns of the terminal.
    """
    shown, tallest = screen(seen)
    across = min(60, width - SCALE)
    lines = wrapped(title, width=width)
    for row, drawn in enumerate(trace(shown, tallest, across, letters, cycles=1)):
        edge = {0: f"+{show(tallest, 'V')}", DOWN // 2: "0 V", DOWN - 1: f"-{show(tallest, 'V')}"}.get(row, "")
        lines.append(f"{edge:>{SCALE - 1}} {drawn}")
    shape = picture(seen.wave, seen.rms) if not seen.nothing else ""
    moving = "" if seen.settled else "; the trace does not stand still"
    tail = f"{CYCLES} cycles, {show(CYCLES / frequency, 's')}{f'; the sine is {shape}' if shape else ''}{moving}"
    return "\n".join(letters.spelt(line).rstrip() for line in [*lines, f"{'':{SCALE}}{tail}"])
