"""A drill as a file: whole or not at all, and without giving its fault away to a glance.

It is compressed and written in letters, with a checksum. That is no secret to anybody who wants to cheat, and is not
meant to be one.
"""

from __future__ import annotations

import base64
import hashlib
import json
import textwrap
import zlib
from pathlib import Path

from lostgain.problems import Problem, UserError, Where
from lostgain.teach.fits import is_name
from lostgain.teach.record import Drill, drill_from, drill_record

HEAD = "lostgain drill, format 1"
ABOUT = "Compressed, so that the fault does not meet the eye; no secret to whoever wants to cheat."
#: No drill is larger when unpacked [bytes].
LARGEST = 20_000_000
COLUMNS = 76


def is_drill(path: Path) -> bool:
    """Tell whether a file is a drill, by its first line."""
    try:
        with path.open("rb") as file:
            return file.readline(200).decode("utf-8", "replace").rstrip("\r\n") == HEAD
    except OSError:
        return False


def packed(drill: Drill) -> str:
    """Return a drill as the text of a file."""
    plain = json.dumps(drill_record(drill), ensure_ascii=False, allow_nan=False, sort_keys=True).encode()
    body = base64.b64encode(zlib.compress(plain, 9)).decode()
    hidden = drill.hidden
    about = [
        HEAD,
        f"unit: {hidden.unit}",
        f"level: {hidden.level}",
        ABOUT,
        f"sha256: {hashlib.sha256(plain).hexdigest()}",
    ]
    return "\n".join([*about, "", *textwrap.wrap(body, COLUMNS), ""])


def write(drill: Drill, path: Path) -> None:
    """Write a drill, whole or not at all.

    Raises
    ------
    UserError
        If the file can't be written.
    """
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_text(packed(drill), encoding="utf-8")
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise UserError(Problem(f"cannot be written: {error.strerror or error}.", Where(path))) from error


def read(path: Path) -> Drill:
    """Return the drill that a file holds.

    Raises
    ------
    UserError
        If it is none, or was damaged.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise UserError(Problem(f"cannot be read: {error.strerror or error}.", Where(path))) from error
    except UnicodeDecodeError as error:
        raise _damaged(path, "it is no text") from error
    head, _, body = text.replace("\r\n", "\n").partition("\n\n")
    lines = head.split("\n")
    if lines[0] != HEAD:
        raise UserError(Problem(f"this is no drill: its first line should be “{HEAD}”.", Where(path, 1)))
    told = next((line.partition(":")[2].strip() for line in lines if line.startswith("sha256:")), "")
    try:
        unpack = zlib.decompressobj()
        plain = unpack.decompress(base64.b64decode("".join(body.split()), validate=True), LARGEST)
    except (ValueError, zlib.error) as error:
        raise _damaged(path, "it does not unpack") from error
    if hashlib.sha256(plain).hexdigest() != told:
        raise _damaged(path, "its checksum is another")
    try:
        drill = drill_from(json.loads(plain))
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError, RecursionError) as error:
        raise _damaged(path, f"something is missing or of another sort: {error}") from error
    if not is_name(drill.hidden.unit):
        raise _damaged(path, "its unit has no name")
    return drill


def _damaged(path: Path, why: str) -> UserError:
    return UserError(Problem(f"this drill is damaged: {why}.", Where(path), "Ask for it again."))
