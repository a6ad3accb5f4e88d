"""What a diagnosis or a reference answers to a case, in one form for both."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from lostgain.diagnosis import Verdict
from lostgain.diagnosis.doubts import none_explains


@dataclass(frozen=True)
class Answer:
    """Probabilities given to one case.

    Parameters
    ----------
    parts, stages : mapping
        Name to probability.
    healthy, unexplained : float
    none_explains : bool
        Whether it is said that no fault of the table explains the readings well.
    named : (str, str)
        Part and mode of the first suspect; empty texts for a reference.
    range90 : (float, float) or None
        What holds that suspect's severity with 90 % probability; None where it has none.
    seconds : float
        How long it took.
    faulty : bool
        Whether the unit is called faulty.
    """

    parts: Mapping[str, float]
    stages: Mapping[str, float]
    healthy: float
    unexplained: float = 0.0
    none_explains: bool = False
    named: tuple[str, str] = ("", "")
    range90: tuple[float, float] | None = None
    seconds: float = 0.0
    faulty: bool = True

    def first(self, count: int = 1) -> list[str]:
        """Return the most probable parts."""
        return sorted(self.parts, key=lambda part: -self.parts[part])[:count]

    @property
    def stage(self) -> str:
        """The most probable stage."""
        return max(self.stages, key=lambda stage: self.stages[stage])


def of_verdict(verdict: Verdict, seconds: float) -> Answer:
    """Return a verdict in that form: probabilities of a part's modes added up."""
    parts: dict[str, float] = defaultdict(float)
    stages: dict[str, float] = defaultdict(float)
    for suspect in verdict.suspects:
        parts[suspect.part] += suspect.probability
        stages[suspect.stage] += suspect.probability
    for path in verdict.elsewhere:
        for stage in path.stages:
            stages[stage] += path.probability / len(path.stages)
    first = verdict.suspects[0]
    return Answer(
        parts, stages, verdict.healthy, verdict.unexplained, none_explains(verdict.unexplained, verdict.fit),
        (first.part, first.mode), first.severity_range, seconds, verdict.faulty,
    )  # fmt: skip
