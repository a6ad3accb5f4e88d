"""What was answered to each case of a unit, kept in a file, so that units run apart can be counted together."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cattrs.errors import BaseValidationError
from cattrs.preconf.json import make_converter

from benchmarks.process import FILE as PROCESS
from benchmarks.process import process
from benchmarks.score import Scored
from lostgain import shipped
from lostgain.problems import Problem, UserError, Where

ENDING = ".outcomes.json"
#: Files that have a say in an answer.
ENDINGS = ("*.py", "*.toml", "*.cir", "*.lib", "*.csv")
_CONVERTER = make_converter()


@dataclass(frozen=True)
class Outcomes:
    """One unit's cases and answers, and what they came from.

    Parameters
    ----------
    scored : Scored
    plan : mapping
        How much was simulated.
    process : mapping
        The stated process of the simulated repairs.
    code : str
        Digest of the code and data that answered: of `lostgain` and of the benchmarks.
    """

    scored: Scored
    plan: Mapping[str, int]
    process: Mapping[str, Any]
    code: str


def outcomes(scored: Scored, plan: Mapping[str, int]) -> Outcomes:
    """Return a unit's outcomes, as of the code that runs now."""
    return Outcomes(scored, plan, process(), digest())


def digest() -> str:
    """Return an identifier of the code and data that answer, so that files made with other code are told apart."""
    found = hashlib.sha256()
    for folder in (Path(shipped.__file__).parent, shipped.folder(), PROCESS.parent):
        for file in sorted(file for ending in ENDINGS for file in folder.rglob(ending)):
            found.update(file.relative_to(folder).as_posix().encode() + file.read_bytes())
    return found.hexdigest()[:12]


def write(kept: Outcomes, folder: Path) -> Path:
    """Write a unit's outcomes into a folder, which is made if it is not there; return the file."""
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / f"{kept.scored.unit}{ENDING}"
    part = file.with_suffix(".part")
    part.write_text(_CONVERTER.dumps(kept), encoding="utf-8")
    part.replace(file)  # a stopped run leaves no half of a file
    return file


def read(folder: Path) -> list[Outcomes]:
    """Read all units' outcomes in a folder, in the order of their names.

    Raises
    ------
    UserError
        No such file there, or one that can't be read, or one of another process than the present one.
    """
    files = sorted(folder.glob(f"*{ENDING}"))
    if not files:
        raise UserError(Problem(f"expected files named UNIT{ENDING}; there is none", Where(folder)))
    return [_read(file) for file in files]


def _read(file: Path) -> Outcomes:
    try:
        found = _CONVERTER.loads(file.read_text(encoding="utf-8"), Outcomes)
    except (json.JSONDecodeError, UnicodeDecodeError, BaseValidationError) as error:
        says = "expected what `scripts/bench accuracy --outcomes` writes; delete it and run that unit again"
        raise UserError(Problem(says, Where(file))) from error
    if found.process != process():
        says = f"its repairs come from another process than {PROCESS.name} now states; run that unit again"
        raise UserError(Problem(says, Where(file)))
    return found
