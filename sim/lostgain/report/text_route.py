"""A route as text: readings to take, what each may show, and where that leads."""

from __future__ import annotations

from lostgain.quantities import show
from lostgain.report.text_layout import joined, section, wrapped
from lostgain.teach.route_model import Branch, Leaf, Route, Step
from lostgain.unit.model import Unit

_ENDS = {
    "sure": "",
    "alike": " No reading in reach tells these apart.",
    "idle": " No reading left would change what to do.",
    "all read": " Everything in reach has been read.",
    "rare": " Seldom: give these readings to lostgain next.",
    "healthy": "",
}


def route_text(route: Route, unit: Unit) -> str:
    """Return a route for the terminal.

    Parameters
    ----------
    route : Route
    unit : Unit
    """
    lead = wrapped(f"{unit.title}: a route from the symptom to the part")
    if unit.invented:
        lead.append("An invented example.")
    several = f" Named as in {route.channel}." if len(unit.channels) > 1 else ""
    lead += wrapped(f"{minutes_text(route)}{several}")
    return joined([lead, [*section("Begin here"), *_step(route.root, 0)], wrapped(closing())])


def minutes_text(route: Route) -> str:
    """Return what the route takes beside the walk along the signal."""
    best = "No other order is quicker." if route.best else ""
    return (
        f"Expected to take {route.minutes:.2g} min of readings; everything in turn from input to output takes "
        f"{route.walk_minutes:.2g} min. {best}"
    ).strip()


def closing() -> str:
    """Return what has to be said below a route."""
    return (
        "Shares are of all faults, by the failure rates of the bench set (common practice, no source). A range holds "
        "what 19 of 20 healthy units show. Power off and reservoirs discharged and measured before a part is lifted; "
        "the unit's cautions (lostgain check) come first."
    )


def reading_text(step: Step) -> str:
    """Return the reading of a step: ``U2 pin 1, level at 500 Hz``."""
    what = step.quantity if step.frequency is None else f"{step.quantity} at {show(step.frequency, 'Hz')}"
    return f"{step.point}, {what}"


def share_text(share: float) -> str:
    """Return a share of all faults: ``12 %``."""
    return f"{100 * share:.0f} %" if share >= 0.0095 else "<1 %"


def leaf_text(leaf: Leaf) -> str:
    """Return where a route ends."""
    if leaf.ends == "rare":
        first = next((name for name, _ in leaf.parts if name), "")
        return f"Perhaps {first}.{_ENDS['rare']}" if first else f"Probably nothing is wrong.{_ENDS['rare']}"
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


def _step(step: Step, depth: int) -> list[str]:
    pad = "  " * depth
    lines = wrapped(f"Read {reading_text(step)} ({step.minutes:.2g} min)", f"{pad}     ", f"{pad}  ")
    for branch in step.branches:
        lines += _branch(branch, depth + 1)
    return lines


def _branch(branch: Branch, depth: int) -> list[str]:
    pad = "  " * depth
    head = f"{branch.shows} [{share_text(branch.share)}]"
    if isinstance(branch.then, Leaf):
        return wrapped(f"{head}: {leaf_text(branch.then)}", f"{pad}      ", f"{pad}  - ")
    return [*wrapped(f"{head}:", f"{pad}      ", f"{pad}  - "), *_step(branch.then, depth + 1)]
