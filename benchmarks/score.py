"""From answers to figures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchmarks import figures
from benchmarks.answers import Answer
from benchmarks.figures import NOTHING, Figure
from benchmarks.isolate import Isolated
from benchmarks.process import process
from benchmarks.score_isolated import beside_optimum, isolated
from benchmarks.truth import Truth

Values = NDArray[np.float64]

#: False alarms at which the references detect.
FALSE_ALARM = 0.02
#: What is named where the match itself failed: never the right part.
FAILED = "match failed"
SHARES = ("stage_top1", "part_top1", "part_top3")


@dataclass(frozen=True)
class Scored:
    """One unit's cases and what was answered.

    Parameters
    ----------
    unit : str
    truths : list of Truth
    ours : list of Answer
        One each.
    references, halves : mapping
        Kind of reference to its answers; `halves` are those of references trained on half of the samples.
    lost : int
        Cases that could not be simulated, and are in no figure.
    match_ms : list of float
    table : str
        Identifier of the signature table.
    next_ms : list of float
    followed : list of mapping
        For each case followed, policy to where it stopped.
    searched : list of mapping
        For each start searched completely, policy to expected minutes, readings and share right.
    paired : list of (Truth, Answer, Answer)
        Truth, answer with a good channel beside the faulty one, and answer without.
    """

    unit: str
    truths: list[Truth]
    ours: list[Answer]
    references: dict[str, list[Answer]]
    halves: dict[str, list[Answer]]
    lost: int
    match_ms: list[float]
    table: str
    next_ms: list[float] = field(default_factory=list)
    followed: list[dict[str, Isolated]] = field(default_factory=list)
    searched: list[dict[str, tuple[float, float, float]]] = field(default_factory=list)
    paired: list[tuple[Truth, Answer, Answer]] = field(default_factory=list)

    def numbers(self, kind: str) -> list[int]:
        """Return the numbers of the cases of a kind."""
        return [number for number, truth in enumerate(self.truths) if truth.kind == kind]


def hits(answers: list[Answer], truths: list[Truth], figure: str) -> NDArray[np.bool_]:
    """Return, for each case, whether an answer is right: ``stage_top1``, ``part_top1`` or ``part_top3``."""
    rules: dict[str, Callable[[Answer, Truth], bool]] = {
        "stage_top1": lambda answer, truth: answer.stage in truth.stages,
        "part_top1": lambda answer, truth: truth.part in answer.first(1),
        "part_top3": lambda answer, truth: truth.part in answer.first(3),
    }
    rule = rules[figure]
    return np.array([rule(answer, truth) for answer, truth in zip(answers, truths, strict=True)], dtype=bool)


def scores(units: list[Scored]) -> dict[str, object]:
    """Return the figures of some units together, every case counting alike."""
    faults, ours = _pick(units, "fault")
    found: dict[str, object] = named(faults, ours)
    p, hit, weight = _reliability(units)
    found["calibration_error"] = figures.calibration_error(p, hit, weight)
    found["calibration_error_by_chance"] = figures.calibration_by_chance(p, weight)
    found["calibration"] = [list(map(float, row)) for row in zip(*figures.calibration(p, hit, weight), strict=True)]
    found["coverage90"] = figures.share(_covered(ours, faults))
    found["called_unexplained"] = figures.share([answer.none_explains for answer in ours])
    _, healthy = _pick(units, "healthy")
    found["false_alarm"] = figures.share([answer.faulty for answer in healthy])
    found["match_ms"] = _median([each for unit in units for each in unit.match_ms])
    found["next_ms"] = _median([each for unit in units for each in unit.next_ms])
    found.update(isolated([case for unit in units for case in unit.followed]))
    if searched := beside_optimum([case for unit in units for case in unit.searched]):
        found["beside_optimum"] = searched
    if paired := [case for unit in units for case in unit.paired]:
        truths, beside, alone = (list(column) for column in zip(*paired, strict=True))
        found["with_good_channel"] = {**named(truths, beside), "alone": named(truths, alone)}
    answers = [answer for unit in units for answer in (*unit.ours, *(beside for _, beside, _ in unit.paired))]
    found["match_failed"] = sum(FAILED in answer.parts for answer in answers)
    found["not_simulated"] = sum(unit.lost for unit in units)
    if all(unit.references for unit in units):
        found.update(_against(units, ours, faults))
    return found


def named(truths: list[Truth], answers: list[Answer]) -> dict[str, object]:
    """Return how often the right stage and part were named, and the log loss."""
    found: dict[str, object] = {key: figures.share(hits(answers, truths, key)) for key in SHARES}
    given = [answer.parts.get(truth.part, 0.0) for answer, truth in zip(answers, truths, strict=True)]
    return {**found, "log_loss": figures.log_loss(given)}


def _median(times: list[float]) -> Figure:
    values = np.array(times)
    return figures.resampled(lambda at: float(np.median(values[at])), len(values))


def _pick(units: list[Scored], kind: str, of: str = "") -> tuple[list[Truth], list[Answer]]:
    """Truths and answers of all cases of a kind: ours, or a reference's."""
    truths, answers = [], []
    for unit in units:
        mine = unit.references[of] if of else unit.ours
        truths += [unit.truths[number] for number in unit.numbers(kind)]
        answers += [mine[number] for number in unit.numbers(kind)]
    return truths, answers


def _reliability(units: list[Scored]) -> tuple[Values, Values, Values]:
    """The first part's probability, whether it was right, and the weight that puts the kinds in the prior's mix."""
    mix = {key: float(process()["mix"][key]) for key in ("healthy", "outsider")}
    mix["fault"] = 1 - sum(mix.values())
    rows = []
    for kind, share in mix.items():
        truths, answers = _pick(units, kind)
        for truth, answer in zip(truths, answers, strict=True):
            name = answer.first()[0]
            rows.append((answer.parts[name], float(name in truth.bad), share / len(truths)))
    p, hit, weight = np.array(rows).T
    return p, hit, weight


def _covered(ours: list[Answer], faults: list[Truth]) -> list[bool]:
    """Whether the severity lies in the range given, wherever the fault named is the true one."""
    found = []
    for answer, truth in zip(ours, faults, strict=True):
        fault = truth.fault
        if fault is None or fault.severity is None or answer.named != (fault.part, fault.mode):
            continue
        if answer.range90 is not None:
            low, high = answer.range90
            found.append(low <= fault.severity <= high)
    return found


def _against(units: list[Scored], ours: list[Answer], faults: list[Truth]) -> dict[str, object]:
    """Figures that compare with the references."""
    kinds = list(units[0].references)
    answers = {kind: _pick(units, "fault", kind)[1] for kind in kinds}
    references: dict[str, dict[str, object]] = {}
    for kind in kinds:
        references[kind] = named(faults, answers[kind])
    ratio = {}
    for key in SHARES:
        best = max(kinds, key=lambda kind: _value(references[kind][key]))
        ratio[key] = figures.ratio(
            hits(ours, faults, key).astype(float), hits(answers[best], faults, key).astype(float)
        )
    found = {"references": references, "optimal_ratio": ratio, "reference_doubling": _doubling(units, references)}
    return {**found, **_detection(units, kinds)}


def _value(figure: object) -> float:
    assert isinstance(figure, Figure)
    return figure.value


def _doubling(units: list[Scored], references: dict[str, dict[str, object]]) -> dict[str, dict[str, float]]:
    """By how much each figure of a reference rose when its samples were doubled, from half of them to all."""
    found = {}
    for kind, known in references.items():
        truths, answers = [], []
        for unit in units:
            truths += [unit.truths[number] for number in unit.numbers("fault")]
            answers += [unit.halves[kind][number] for number in unit.numbers("fault")]
        found[kind] = {key: _value(known[key]) - float(np.mean(hits(answers, truths, key))) for key in SHARES}
    return found


def _detection(units: list[Scored], kinds: list[str]) -> dict[str, object]:
    """``detected`` and ``outsider``: of the cases that leave a mark, by the reference that detects most."""
    marked: dict[str, list[NDArray[np.bool_]]] = {}
    for kind in kinds:
        marked[kind] = []
        for unit in units:
            healthy = np.array([answer.healthy for answer in unit.references[kind]])
            at = np.quantile(healthy[unit.numbers("healthy")], FALSE_ALARM) if unit.numbers("healthy") else 0.0
            marked[kind].append(healthy < at)

    def faults_marked(kind: str) -> int:
        return sum(int(marks[unit.numbers("fault")].sum()) for unit, marks in zip(units, marked[kind], strict=True))

    best = max(kinds, key=faults_marked)
    found, outside = [], []
    for unit, marks in zip(units, marked[best], strict=True):
        found += [unit.ours[number].faulty for number in unit.numbers("fault") if marks[number]]
        for number in unit.numbers("outsider"):
            answer = unit.ours[number]
            if marks[number]:
                right = answer.stage in unit.truths[number].stages
                outside.append(answer.none_explains or right)
    return {
        "detected": figures.share(found) if found else NOTHING,
        "outsider": figures.share(outside) if outside else NOTHING,
        "marked_by": best,
    }
