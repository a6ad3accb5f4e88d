"""Does the healthy circuit stay where its operating point says? A loop wired the wrong way round does not.

Such a circuit has an operating point and a plausible small-signal gain all the same; only time shows it.
"""

from __future__ import annotations

import numpy as np

from lostgain.circuit.model import Circuit, driven
from lostgain.engine import CircuitRefused, Pool, RunFailed, Session
from lostgain.problems import Problem, UserError

#: Share of the set-up's drive at which the circuit is watched: small, so that nothing clips.
DRIVE = 0.02
#: Cycles of the middle frequency.
CYCLES = 6
#: How far the mean may wander from the operating point [V], and the shape from a sine (share of the level).
WANDER = 0.05
SHAPE = 0.25
#: Below this [V rms] the shape says nothing.
QUIET = 50e-6


def prove_running(circuit: Circuit, pool: Pool) -> None:
    """Refuse a circuit whose healthy state runs away or oscillates.

    Raises
    ------
    UserError
        With the first stage, in signal order, that does; what is doubtful in the description comes before it.
    """
    outcome = pool.map(first_unstable, [circuit])[0]
    reason, stage = outcome.value if outcome.error is None else (outcome.error, "")
    if not reason:
        return
    line = next((one.where for one in circuit.unit.stages if one.name == stage), circuit.unit.setup.where)
    where = f"stage '{stage}'" if stage else "the healthy circuit"
    unstable = Problem(
        f"{where} {reason} as soon as time runs, although it has an operating point.",
        line,
        "The usual slip: feedback wired to the wrong input, or the op-amp's inputs exchanged.",
    )
    raise UserError([*circuit.unit.doubts, unstable])


def first_unstable(session: Session, circuit: Circuit) -> tuple[str, str]:
    """Return what goes wrong and in which stage, or two empty strings."""
    setup = circuit.unit.setup
    frequency = setup.frequencies[0]
    period = 1 / frequency
    flat = driven(circuit.flat, setup.generator * DRIVE, frequency, setup.start_dc)
    ends = circuit.stage_ends or {"": circuit.output}
    nodes = list(ends.values())
    session.load(flat.lines())
    dc = session.op(nodes)
    small = np.abs(session.ac([frequency], nodes))[:, 0]
    try:
        time, values = session.tran(CYCLES * period, period / 64, nodes)
    except (RunFailed, CircuitRefused) as error:
        return f"cannot be followed in time ({error.reason})", ""
    grid = (CYCLES - 1) * period + period * np.arange(256) / 256
    for row, stage in enumerate(ends):
        cycle = np.interp(grid, time, values[row])
        mean = cycle.mean()
        sine = 2 * np.mean((cycle - mean) * np.exp(-2j * np.pi * frequency * grid))
        rest = cycle - mean - np.real(sine * np.exp(2j * np.pi * frequency * grid))
        if abs(mean - dc[row]) > WANDER + 0.02 * abs(dc[row]) + small[row]:
            return "runs away from its operating point", stage
        if np.sqrt(np.mean(rest**2)) > SHAPE * small[row] + QUIET:
            return "oscillates", stage
    return "", ""
