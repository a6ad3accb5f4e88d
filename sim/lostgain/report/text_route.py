"""A route as text: numbered readings, what each may show, and which number or part that leads to."""

from __future__ import annotations

from lostgain.faults.rates import Rates
from lostgain.quantities import figures
from lostgain.readings.taken import at_text
from lostgain.report.route_steps import NumberedStep, numbered
from lostgain.report.text_layout import joined, wrapped
from lostgain.teach.route_model import Leaf, Route, Step
from lostgain.unit.model import Unit

_ENDS = {
    "sure": "",
    "alike": " No reading in reach tells these apart.",
    "idle": " No reading left would change what to do.",
    "all read": " Everything in reach has been read.",
    "rare": " (seldom).",
    "healthy": "",
}


def route_text(route: Route, unit: Unit, rates: Rates | None = None) -> str:
    """Return a route for the terminal.

    Parameters
    ----------
    route : Route
    unit : Unit
    rates : Rates or None
        The failure rates it was made with; None for the bench set.
    """
    lead = wrapped(f"{unit.title}: a route from the symptom to the part")
    if unit.invented:
        lead.append("An invented example.")
    several = f" Named as in {route.channel}." if len(unit.channels) > 1 else ""
    lead += wrapped(f"{minutes_text(route)}{several} Begin with 1.")
    steps = [_step(each) for each in numbered(route)]
    return joined([lead, *steps, wrapped(closing(rates))])


def minutes_text(route: Route) -> str:
    """Return what the route takes beside the walk along the signal."""
    best = "No other order is quicker." if route.best else ""
    return (
        f"Expected to take {figures(route.minutes, 2)} min of readings; everything in turn from input to output takes "
        f"{figures(route.walk_minutes, 2)} min. {best}"
    ).strip()


def closing(rates: Rates | None = None) -> str:
    """Return what has to be said below a route."""
    by = "bench default (common practice, no source)" if rates is None else f"{rates.title} ({rates.source})"
    return (
        f"Shares are of all faults, by these failure rates: {by}. A range holds what 19 of 20 healthy units show. "
        "Where it says seldom, the chart ends: give the readings taken to lostgain next. Power off and reservoirs "
        "discharged and measured before a part is lifted; the unit's cautions (lostgain check) come first."
    )


def reading_text(step: Step) -> str:
    """Return the reading of a step: ``U2 pin 1, level at 500 Hz``."""
    return f"{step.point}, {step.quantity}{at_text(step.frequency, step.generator)}"


def share_text(share: float) -> str:
    """Return a share of all faults: ``12 %``."""
    return f"{100 * share:.0f} %" if share >= 0.0095 else "<1 %"


def leaf_text(leaf: Leaf) -> str:
    """Return where a route ends."""
    if leaf.ends == "rare":
        first = next((name for name, _ in leaf.parts if name), "")
        return f"{f'Perhaps {first}' if first else 'Probably nothing is wrong'}{_ENDS['rare']}"
    names = [name for name, _ in leaf.parts if name]
    if leaf.ends == "healthy":
        return "Nothing shows here. If the fault comes and goes: warm, cool and tap while the signal is watched."
    if len(names) == 1 or leaf.ends == "sure":
        return f"{_look(names[0])} ({share_text(leaf.parts[0][1])})." + _ENDS[leaf.ends]
    parts = ", ".join(f"{name or 'nothing wrong'} {share_text(share)}" for name, share in leaf.parts)
    rest = f", others {share_text(leaf.others)}" if leaf.others >= 0.03 else ""
    return f"{parts}{rest}.{_ENDS[leaf.ends]} {_look(names[0]) if names else 'Measure nothing'} first."


def _look(part: str) -> str:
    """Return how a part is looked at: a rail, whose name has no number, is not lifted."""
    return f"Lift and measure {part}" if part[-1:].isdigit() else f"Measure the supply {part}"


def origin_text(each: NumberedStep) -> str:
    """Return which step a step follows, and what that one showed; empty for the first."""
    return f"after {each.after}: {each.shown}" if each.after else ""


def _step(each: NumberedStep) -> list[str]:
    label = f"{each.number}. "
    indent = " " * len(label)
    lines = wrapped(f"Read {reading_text(each.step)} ({figures(each.step.minutes, 2)} min)", indent, label)
    lines += wrapped(f"({origin_text(each)})", indent) if each.after else []
    for branch, number in zip(each.step.branches, each.goes_to, strict=True):
        then = leaf_text(branch.then) if isinstance(branch.then, Leaf) else f"go to {number}"
        lines += wrapped(f"{branch.shows} [{share_text(branch.share)}]: {then}", f"{indent}    ", f"{indent}- ")
    return lines
