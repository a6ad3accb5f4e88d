"""What a diagnosis says."""

from __future__ import annotations

from dataclasses import dataclass

from lostgain.faults import Fault
from lostgain.readings.model import Reading


@dataclass(frozen=True)
class Evidence:
    """One reading beside what a suspect predicts for it.

    Parameters
    ----------
    reading : Reading
    predicted : float
        [V rms] or [V].
    low, high : float
        The range that 90 % of such readings would fall in.
    weight : float
        How much more likely this reading is under the suspect than from a healthy unit: natural logarithm of the
        ratio, each reading taken by itself. Positive speaks for the suspect.
    off : float
        How far the reading lies from the prediction, in standard deviations.
    """

    reading: Reading
    predicted: float
    low: float
    high: float
    weight: float
    off: float


@dataclass(frozen=True)
class Suspect:
    """A fault with a probability, given the readings.

    Parameters
    ----------
    part : str
        Designator in the suspected channel.
    mode : str
    severity : float or None
        Its median, in the mode's unit; None where the mode has none.
    severity_range : (float, float) or None
        Holds the severity with 90 % probability, given that this is the fault.
    severity_text : str
        A sentence for people: "C12 has about 2 nF left of 10 µF (0.8 nF to 5 nF)".
    stage, channel : str
        For a part that all channels share, the channel is ``all``.
    probability : float
    prior : float
        Its probability before any reading.
    group : int
        Number of its ambiguity group, from 1.
    fault : Fault
        With the severity of the table's nearest row.
    evidence : tuple of Evidence
    """

    part: str
    mode: str
    severity: float | None
    severity_range: tuple[float, float] | None
    severity_text: str
    stage: str
    channel: str
    probability: float
    prior: float
    group: int
    fault: Fault
    evidence: tuple[Evidence, ...] = ()


@dataclass(frozen=True)
class Group:
    """An ambiguity group: suspects that the readings taken cannot tell apart.

    Parameters
    ----------
    number : int
    suspects : tuple of str
        ``C12 open`` and so on, most probable first.
    probability : float
    """

    number: int
    suspects: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class Elsewhere:
    """A stray path that explains the readings: a bridge, dirt, or a fault of another kind at the same place.

    Parameters
    ----------
    text : str
        For people.
    stages : tuple of str
    channel : str
    ohms : float
    probability : float
    """

    text: str
    stages: tuple[str, ...]
    channel: str
    ohms: float
    probability: float


@dataclass(frozen=True)
class Verdict:
    """The answer to a set of readings.

    Parameters
    ----------
    suspects : tuple of Suspect
        Most probable first; probabilities of all suspects, `healthy` and `unexplained` add up to one.
    healthy, unexplained : float
    groups : tuple of Group
    warnings : tuple of str
        What should be read first.
    table : str
        Identifier of the signature table.
    rates : str
        Title and source of the failure rates used.
    used : int
        Readings that entered the likelihood.
    knowledge : tuple of str
        What else was taken into account, with what followed from it.
    contradiction : Reading or None
        A reading that contradicts all others and was left out; the first warning says what it would have to be.
    elsewhere : tuple of Elsewhere
        Stray paths that explain the readings, most probable first; their probability is part of `unexplained`.
    fit : float
        How often readings this far from what the most probable hypothesis predicts would come about, were it true.
    checks : tuple of str
        What readings with the power off say of a part by themselves.
    doubted : tuple of Reading
        Readings with the power off that cannot be relied on, and were left out; warnings say why.
    faulty : bool
        Whether the readings call the unit faulty: what they leave to "nothing is wrong" is less than ``[call]`` in
        ``allowances.toml``.
    by_slip : bool
        Whether the contradiction is a slip with a factor or a sign; else two failures at once may explain it as well.
    """

    suspects: tuple[Suspect, ...]
    healthy: float
    unexplained: float
    groups: tuple[Group, ...]
    warnings: tuple[str, ...]
    table: str
    rates: str
    used: int
    knowledge: tuple[str, ...] = ()
    contradiction: Reading | None = None
    fit: float = 1.0
    elsewhere: tuple[Elsewhere, ...] = ()
    checks: tuple[str, ...] = ()
    doubted: tuple[Reading, ...] = ()
    faulty: bool = True
    by_slip: bool = False
