"""Folders of runs: which of them hold one gel, and where to look in those that hold several."""

from __future__ import annotations

from pathlib import Path

from ..lamp_library.errors import InputError


def refuse_several(folder: Path, command: str) -> None:
    """Refuse a run that ended with several gels, or with one in a folder below, naming what to give in its place.

    Parameters
    ----------
    folder : Path
        Run folder of `gelwright tune`.
    command : str
        Command that needs one gel, for the message.

    Raises
    ------
    InputError
        If the run is that of a set, of several lamps with a blend each, or of choices.
    """
    for name, words in (("best", "a run of choices"), ("one_blend", "a run of several lamps")):
        if (folder / name).is_dir():
            raise InputError(
                f"{folder}: {words}. Give the folder of its answer: `gelwright {command} {folder / name}`."
            )
    if gels := sorted((folder / "gels").glob("*.toml")):
        lamp = folder / "lamp" if (folder / "lamp").is_dir() else "LAMP"
        raise InputError(
            f"{folder}: a run with {len(gels)} gels. Give one of them, with its lamp and time: "
            f"`gelwright {command} {gels[0]} --lamp {lamp} --seconds ...`."
        )
