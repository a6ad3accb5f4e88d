"""Writing an imported unit: a folder of its own, nothing overwritten, nothing left half-written."""

from __future__ import annotations

from pathlib import Path

from lostgain.netlists.model import NETLIST, Imported, wrong
from lostgain.problems import Where


def free_folder(folder: Path) -> None:
    """Tell before the work is done that a unit cannot go into a folder.

    Raises
    ------
    UserError
        If a unit is there already, or something that is no folder.
    """
    if folder.exists() and not folder.is_dir():
        raise wrong("this is a file; a folder is wanted.", Where(folder), "Say --out FOLDER.")
    for name in ("unit.toml", NETLIST):
        file = folder / name
        if file.exists() or file.is_symlink():
            raise wrong(f"{name} is there already, and is not overwritten.", Where(folder), "Say --out FOLDER.")


def write_unit(imported: Imported, folder: Path) -> list[Path]:
    """Write ``unit.toml`` and the cleaned netlist into a folder, which is made if need be.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    UserError
        If either file is there already, or cannot be written.
    """
    texts = {folder / "unit.toml": imported.unit_toml, folder / imported.netlist_name: imported.netlist}
    free_folder(folder)
    made = not folder.exists()
    done: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file, text in texts.items():
            with file.open("x", encoding="utf-8", newline="\n") as out:
                done.append(file)
                out.write(text)
    except OSError as error:
        for file in done:
            file.unlink(missing_ok=True)
        if made and folder.is_dir():
            folder.rmdir()
        raise wrong(f"cannot be written: {error.strerror or error}.", Where(folder)) from error
    return done
