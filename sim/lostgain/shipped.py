"""Where ``circuits/`` is: beside the package in a wheel, in the repository when developing."""

from __future__ import annotations

from pathlib import Path


def folder() -> Path:
    """Return the folder with the shipped stages, device classes and units.

    An editable install maps the package alone, so the repository's own ``circuits/`` is looked for as well.

    Raises
    ------
    RuntimeError
        If neither place has it: the installation is broken, which is no mistake in a file of the user's.
    """
    package = Path(__file__).resolve().parent
    for place in (package / "circuits", package.parents[1] / "circuits"):
        if place.is_dir():
            return place
    raise RuntimeError(f"lostgain is installed without its circuits: none in {package} nor beside its repository")
