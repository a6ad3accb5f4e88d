"""Stray paths that explain the readings, said for people."""

from __future__ import annotations

import numpy as np

from lostgain.diagnosis.model import Elsewhere
from lostgain.diagnosis.posterior import Case, Posterior
from lostgain.diagnosis.severity import quantiles
from lostgain.faults import Stray
from lostgain.quantities import show
from lostgain.signatures import Table
from lostgain.unit.model import Channel

#: Stray paths less probable than this are not named, and no more than so many are.
NAMED, MOST = 0.01, 5


def elsewhere(table: Table, posterior: Posterior) -> tuple[Elsewhere, ...]:
    """Return the stray paths that explain the readings, most probable first.

    Parameters
    ----------
    table : Table
    posterior : Posterior
    """
    channels = {channel.name: channel for channel in table.circuit.unit.channels}
    found = [each for case in posterior.cases for each in _of_case(posterior, case, channels[case.channel])]
    return tuple(sorted(found, key=lambda each: -each.probability)[:MOST])


def _of_case(posterior: Posterior, case: Case, channel: Channel) -> list[Elsewhere]:
    found = []
    for number, stray in enumerate(posterior.found.paths):
        mine = np.flatnonzero(posterior.found.stray == number)
        share = case.share[mine]
        if share.sum() > NAMED:
            ohms = quantiles(posterior.found.severity[mine], share, (0.5,))[0]
            text = _said(stray, ohms, channel)
            found.append(Elsewhere(text, stray.stages, channel.name, ohms, float(share.sum())))
    return found


def _said(stray: Stray, ohms: float, channel: Channel) -> str:
    pins = [f"{channel.called(name)} pin {pin}" for name, pin in stray.pins]
    if not stray.end:
        return f"like a bridge between {pins[0]} and {pins[1]}"
    return f"like about {show(ohms, 'ohm', 2)} from {pins[0]} to {stray.end}"
