"""All pictures of a prediction, or of a verdict, in one folder."""

from __future__ import annotations

from pathlib import Path

from lostgain.diagnosis.model import Suspect, Verdict
from lostgain.problems import Problem, UserError, Where
from lostgain.readings.model import Readings
from lostgain.report.drawing import suspect_stage
from lostgain.report.pictures import dc_chain, level_chain, level_match, response, suspects, waves
from lostgain.signatures.predict import Prediction
from lostgain.signatures.table import Table

#: Stages of suspects less probable than this are not drawn, nor more than so many.
_WORTH_A_STAGE, _MOST_STAGES = 0.05, 3


def prediction_pictures(prediction: Prediction, folder: Path | str, table: Table | None = None) -> tuple[Path, ...]:
    """Draw levels and DC along the chain, the signal at each test point, and the response at the output.

    Parameters
    ----------
    prediction : Prediction
    folder : path
        Made if it is not there; pictures of the same names in it are replaced.
    table : Table or None
        The unit's signature table, for the range of the healthy unit over part tolerances.

    Returns
    -------
    tuple of Path

    Raises
    ------
    UserError
        If the pictures cannot be written there.
    """
    place = _made(folder)
    return (
        level_chain(prediction, place / "levels.png", table),
        dc_chain(prediction, place / "dc.png", table),
        waves(prediction, place / "waves.png"),
        response(prediction, place / "response.png"),
    )


def verdict_pictures(table: Table, readings: Readings, verdict: Verdict, folder: Path | str) -> tuple[Path, ...]:
    """Draw the readings along the chain beside the leading suspects' predictions, the suspects, and their stages.

    Stages are drawn for suspects of at least a twentieth of the probability, three at most, one for each part.

    Parameters
    ----------
    table : Table
    readings : Readings
    verdict : Verdict
    folder : path
        Made if it is not there; pictures of the same names in it are replaced.

    Returns
    -------
    tuple of Path

    Raises
    ------
    UserError
        If the pictures cannot be written there.
    """
    place = _made(folder)
    read = level_match(table, readings, verdict, place / "readings.png")
    stages = [
        suspect_stage(table.circuit.unit, suspect, place / f"stage-{number}.png")
        for number, suspect in enumerate(_drawn(verdict), 1)
    ]
    return read, suspects(verdict, place / "suspects.png"), *(path for path in stages if path is not None)


def _drawn(verdict: Verdict) -> list[Suspect]:
    """Return the suspects whose stages are drawn: one for each part."""
    first: dict[tuple[str, str], Suspect] = {}
    for suspect in verdict.suspects:
        if suspect.probability >= _WORTH_A_STAGE:
            first.setdefault((suspect.part, suspect.channel), suspect)
    return list(first.values())[:_MOST_STAGES]


def _made(folder: Path | str) -> Path:
    place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(Problem(f"this folder cannot be made: {error.strerror or error}.", Where(place))) from error
    return place
