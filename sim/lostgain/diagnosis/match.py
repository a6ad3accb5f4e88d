"""Matching readings to faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.alike import alike
from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.apart import steps_apart
from lostgain.diagnosis.beyond import beyond
from lostgain.diagnosis.doubts import warnings
from lostgain.diagnosis.elsewhere import elsewhere
from lostgain.diagnosis.evidence import evidence
from lostgain.diagnosis.groups import grouped
from lostgain.diagnosis.knowledge import Knowledge, stated
from lostgain.diagnosis.model import Evidence, Group, Suspect, Verdict
from lostgain.diagnosis.off_checks import doubted, part_verdicts
from lostgain.diagnosis.posterior import Case, Posterior, weigh
from lostgain.diagnosis.severity import half_believed, quantiles, sentence
from lostgain.diagnosis.slips import contradiction
from lostgain.faults import Rates, rates
from lostgain.problems import Problem, UserError, Where
from lostgain.readings import Reading, Readings
from lostgain.signatures import Table
from lostgain.unit.model import Channel

Values = NDArray[np.float64]

#: Suspects less probable than this are counted, not shown with their evidence.
SHOWN = 2e-4
#: What part of a suspect's probability its severity range holds.
RANGE = 0.9


def match(
    table: Table, readings: Readings, rate_set: str | Rates = "bench", knowledge: Knowledge | None = None
) -> Verdict:
    """Return the suspects that explain a set of readings.

    Parameters
    ----------
    table : Table
        The unit's signature table.
    readings : Readings
    rate_set : str or Rates
        Which failure rates to start from.
    knowledge : Knowledge or None
        What else the technician knows.

    Returns
    -------
    Verdict
        If one reading contradicts all others, it is named and left out.

    Raises
    ------
    UserError
        If no reading can be used.
    """
    chosen = rates(rate_set) if isinstance(rate_set, str) else rate_set
    every = readings
    doubts = doubted(table, every.rows)
    readings = _without(every, doubts)
    whole = _weighed(table, readings, doubts, chosen, knowledge)
    same = alike(table, whole)
    odd = None if same else contradiction(table, readings, chosen, knowledge, whole)
    if impossible := beyond(table, [row for row in readings.rows if odd is None or row is not odd.reading]):
        doubts += impossible
        readings = _without(every, doubts)
        whole = _weighed(table, readings, doubts, chosen, knowledge)
        same = alike(table, whole)
        odd = None if same else contradiction(table, readings, chosen, knowledge, whole)
    posterior = odd.without if odd is not None else whole
    if steps_apart(posterior.seen, posterior.found, readings.good):
        rest = replace(readings, rows=tuple(row for row in readings.rows if odd is None or row is not odd.reading))
        posterior = weigh(table, rest.rows, rest.good, chosen, knowledge)
    suspects = _suspects(table, posterior)
    notes = [says for _, says in doubts] + same + ([odd.says] if odd is not None else [])
    notes += warnings(table, posterior, whole.seen, readings)
    seen = posterior.seen
    return Verdict(
        suspects=tuple(suspects),
        healthy=posterior.healthy,
        faulty=posterior.healthy < allowances().call_faulty,
        unexplained=posterior.unexplained,
        groups=_groups(suspects),
        warnings=tuple(notes),
        table=table.key,
        rates=f"{chosen.title} ({chosen.source})",
        used=seen.used,
        knowledge=stated(knowledge) if knowledge is not None else (),
        contradiction=odd.reading if odd is not None else None,
        by_slip=odd is not None and odd.by_slip,
        fit=posterior.fit(),
        elsewhere=elsewhere(table, posterior),
        checks=part_verdicts(table, readings.rows, readings.good),
        doubted=tuple(row for rows, _ in doubts for row in rows),
    )


def _without(readings: Readings, doubts: list[tuple[tuple[Reading, ...], str]]) -> Readings:
    """Return the readings that nothing is wrong with."""
    unsure = {id(row) for rows, _ in doubts for row in rows}
    return replace(readings, rows=tuple(row for row in readings.rows if id(row) not in unsure))


def _weighed(
    table: Table, readings: Readings, doubts: list[tuple[tuple[Reading, ...], str]], chosen: Rates,
    knowledge: Knowledge | None,
) -> Posterior:  # fmt: skip
    if doubts and not readings.rows:
        raise UserError([Problem(says, Where(readings.path, rows[0].where.line)) for rows, says in doubts])
    try:
        return weigh(table, readings.rows, readings.good, chosen, knowledge, as_described=True)
    except UserError as error:
        first = error.problems[0]
        if first.where.file is not None:  # of allowances or rates, say
            raise
        raise UserError(Problem(first.message, Where(readings.path, first.where.line), first.meant)) from error


def _suspects(table: Table, posterior: Posterior) -> list[Suspect]:
    found = posterior.found
    names = {channel.name: channel for channel in table.circuit.unit.channels}
    listed: list[tuple[Suspect, Case, int]] = []
    steps = [np.flatnonzero(found.fault == index) for index in range(len(found.suspects))]  # alike in all cases
    for case in posterior.cases:
        for index, fault in enumerate(found.suspects):
            if fault.shared and case is not posterior.cases[0]:
                continue
            mine = steps[index]
            best = int(mine[np.argmax(case.share[mine])])
            suspect = _suspect(table, posterior, case, index, mine, names)
            listed.append((suspect, case, best))
    listed.sort(key=lambda each: (-each[0].probability, each[0].part, each[0].mode))
    leading = [each for each in listed if each[0].probability > SHOWN] or listed[:1]
    beside, means, spreads = _beside(table, posterior, leading)
    numbers = grouped(means, spreads)
    return [
        replace(each[0], group=number, evidence=rows)
        for each, number, rows in zip(leading, numbers, beside, strict=True)
    ] + [each[0] for each in listed[len(leading) :]]


def _beside(
    table: Table, posterior: Posterior, leading: list[tuple[Suspect, Case, int]]
) -> tuple[list[tuple[Evidence, ...]], Values, Values]:
    """Return the readings beside what each of the leading suspects predicts, and the means and spreads of these."""
    size = len(posterior.seen.value)
    found: dict[int, tuple[Evidence, ...]] = {}
    means, spreads = np.zeros((len(leading), size)), np.zeros((len(leading), size, size))
    for case in posterior.cases:
        mine = [number for number, each in enumerate(leading) if each[1] is case]
        if not mine:
            continue
        which = [leading[number][2] for number in mine]
        covs = case.covs(which)
        found.update(zip(mine, evidence(table, posterior, case, which, covs), strict=True))
        means[mine], spreads[mine] = case.all_predicted(which, covs)
    return [found[number] for number in range(len(leading))], means, spreads


def _suspect(
    table: Table, posterior: Posterior, case: Case, index: int, mine: NDArray[np.int_], names: dict[str, Channel]
) -> Suspect:
    found = posterior.found
    fault, share = found.suspects[index], case.share[mine]
    total = float(share.sum())
    severity, spread = None, None
    if np.isfinite(found.severity[mine]).all():
        weight = share if total > 0 else found.prior[mine]
        if total > 0 and found.makers_affair[mine].all():
            weight = half_believed(share, found.prior[mine], allowances(table.circuit.unit.folder).model_maker_severity)
        ends = (0.5 - RANGE / 2, 0.5, 0.5 + RANGE / 2)
        low, severity, high = quantiles(found.severity[mine], weight, ends)
        spread = (low, high)
    channel = names[case.channel]
    row = found.row[int(mine[np.argmax(share)])]
    return Suspect(
        part=fault.part if fault.shared else channel.called(fault.part),
        mode=fault.mode,
        severity=severity,
        severity_range=spread,
        severity_text=sentence(fault, severity, spread, table.circuit, channel),
        stage=fault.stage,
        channel="all" if fault.shared and len(names) > 1 else case.channel,
        probability=total,
        prior=float(case.prior[mine].sum()),
        group=0,
        fault=table.faults[row - 1],
    )


def _groups(suspects: list[Suspect]) -> tuple[Group, ...]:
    numbers = sorted({suspect.group for suspect in suspects if suspect.group})
    return tuple(
        Group(
            number,
            tuple(f"{each.part} {each.mode}" for each in suspects if each.group == number),
            sum(each.probability for each in suspects if each.group == number),
        )
        for number in numbers
    )
