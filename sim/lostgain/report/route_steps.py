"""A route as numbered steps, each of which says where to go on: a route is far too deep to be indented."""

from __future__ import annotations

from dataclasses import dataclass

from lostgain.teach.route_model import Leaf, Route, Step


@dataclass(frozen=True)
class NumberedStep:
    """A step of a route, with its place on the chart.

    Parameters
    ----------
    number : int
        Counted from 1.
    step : Step
    after : int
        Number of the step before it; 0 for the first.
    shown : str
        What that one showed.
    goes_to : tuple of int
        For each branch, the number of the step that follows; 0 where the route ends.
    """

    number: int
    step: Step
    after: int
    shown: str
    goes_to: tuple[int, ...]


def numbered(route: Route) -> list[NumberedStep]:
    """Return the steps of a route, numbered so that what follows from a branch stands behind its step.

    Parameters
    ----------
    route : Route
    """
    walked: list[tuple[Step, int, int]] = []  # a step, the number of the one before it, and which of its branches
    ahead = [(route.root, 0, 0)]
    while ahead:
        step, after, branch = ahead.pop()
        walked.append((step, after, branch))
        here = len(walked)
        for place, each in reversed(list(enumerate(step.branches))):
            if not isinstance(each.then, Leaf):
                ahead.append((each.then, here, place))
    number = {(after, branch): place for place, (_, after, branch) in enumerate(walked, 1)}
    return [
        NumberedStep(
            place,
            step,
            after,
            walked[after - 1][0].branches[branch].shows if after else "",
            tuple(number.get((place, each), 0) for each in range(len(step.branches))),
        )
        for place, (step, after, branch) in enumerate(walked, 1)
    ]
