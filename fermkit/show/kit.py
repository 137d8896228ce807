"""The notebooks and sample runs that come with the library, for a folder of one's own."""

import shutil
from importlib import resources
from pathlib import Path

from fermkit.basis.errors import InputError

PARTS = ("notebooks", "sample_data")


def copy_kit(folder: str | Path) -> Path:
    """Put notebooks and sample runs into a folder; nothing that is there already is overwritten.

    Parameters
    ----------
    folder : str or Path
        Made if it is not there.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        If it holds notebooks or sample runs already, or cannot be written to.
    """
    place = Path(folder)
    there = [part for part in PARTS if (place / part).exists()]
    if there:
        raise InputError(
            f"{str(place)!r} holds {' and '.join(there)} already",
            "a folder without them",
            "choose another folder; nothing was overwritten",
        )
    try:
        for part in PARTS:
            skip = shutil.ignore_patterns(".ipynb_checkpoints", "__pycache__")
            shutil.copytree(_home() / part, place / part, ignore=skip)
    except OSError as problem:
        raise InputError(
            f"{str(place)!r} cannot be written: {problem.strerror or problem}",
            "a folder that may be written to",
            "choose another place",
        ) from None
    return place


def _home() -> Path:
    """Where the parts lie: inside an installed package, beside it in a clone."""
    package = Path(str(resources.files("fermkit")))
    return package / "copied" if (package / "copied").is_dir() else package.parent
