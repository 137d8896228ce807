"""Refuse bad input in one clear sentence: what was met, what is needed, what to do."""

import difflib
from collections.abc import Collection
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.basis.errors import InputError

Floats = NDArray[np.float64]
"""A row or table of plain numbers."""

LARGEST: Final = 1e30
"""No instrument reads more; beyond it squares and products would overflow unseen."""


def numbers(value: ArrayLike, name: str, *, missing: str = "refuse", at_least: int = 1) -> Floats:
    """A one-dimensional float array, or a clear refusal.

    Parameters
    ----------
    value : array-like of shape (n,)
        The readings.
    name : str
        What a person calls them, with the unit: ``"time [h]"``.
    missing : "refuse" or "keep"
        Whether NaN (no reading) is allowed. Infinite values never are.
    at_least : int
        The fewest values that will do.

    Returns
    -------
    numpy.ndarray of shape (n,)
        A copy, so that the caller's readings are never written to.

    Examples
    --------
    >>> numbers([1, 2.5], "time [h]")
    array([1. , 2.5])
    """
    if np.asarray(value).dtype.kind in "mM":
        raise InputError(
            f"{name} holds dates or spans of time: {_short(value)}", f"{name} as plain numbers",
            "turn them into hours first: (stamps - stamps[0]) / pandas.Timedelta(hours=1)",
        )  # fmt: skip
    if isinstance(value, np.ma.MaskedArray):  # what is masked is no reading
        value = np.ma.filled(value.astype(float), np.nan)
    try:
        array = np.array(value, dtype=float)
    except (TypeError, ValueError, OverflowError) as problem:
        raise InputError(
            f"{name} holds something that is not a number: {_short(value)}",
            f"{name} as numbers with a decimal point",
            f"mend or leave out the entry ({problem})",
        ) from None
    if array.ndim != 1:
        raise InputError(
            f"{name} has the shape {array.shape}",
            f"{name} as one row of numbers, shape (n,)",
            "pass one series at a time, or flatten it",
        )
    if array.size < at_least:
        raise InputError(f"{name} holds {array.size} values", f"at least {at_least}", "give more readings")
    bad = np.abs(array) > LARGEST if missing == "keep" else ~(np.abs(array) <= LARGEST)
    if bad.any():
        row = int(np.argmax(bad))
        raise InputError(
            f"{name} is {array[row]} in row {row + 1}".replace("is nan", "is missing"),
            f"a finite number, {LARGEST:g} at most" + (" or no reading" if missing == "keep" else ""),
            "mend the reading, or leave the row out",
        )
    return array


def same_length(**series: Collection[Any]) -> None:
    """Refuse series of different lengths. Names are the keywords."""
    lengths = {name: len(values) for name, values in series.items()}
    if len(set(lengths.values())) > 1:
        raise InputError(
            "series of different lengths: " + ", ".join(f"{k} has {v}" for k, v in lengths.items()),
            "one value of each for every reading",
            "check that no row was dropped from one of them",
        )


def rising(value: Floats, name: str, *, strictly: bool = True) -> None:
    """Refuse a series that goes back (or, if `strictly`, stands still)."""
    step = np.diff(value)
    bad = step <= 0 if strictly else step < 0
    if bad.any():
        row = int(np.argmax(bad)) + 1
        raise InputError(
            f"{name} is {value[row]:g} in row {row + 1}, after {value[row - 1]:g} in row {row}",
            f"{name} that rises from one reading to the next",
            "sort the readings, mend the entry, or drop the repeated one",
        )


def between(value: float, low: float, high: float, name: str, *, do: str = "check the value and its unit") -> None:
    """Refuse a number outside `low` to `high` (ends allowed; NaN is refused)."""
    if not low <= value <= high:
        raise InputError(f"{name} is {value:g}", f"{name} from {low:g} to {high:g}", do)


def positive(value: float, name: str, *, do: str = "check the value and its sign") -> None:
    """Refuse a number that is not finite and above zero."""
    if not (np.isfinite(value) and value > 0):
        raise InputError(f"{name} is {value:g}", f"{name} above zero", do)


def not_negative(value: float, name: str, *, do: str = "check the value and its sign") -> None:
    """Refuse a number that is not finite, or below zero."""
    if not (np.isfinite(value) and value >= 0):
        raise InputError(f"{name} is {value:g}", f"{name} of zero or more", do)


def one_of(value: str, allowed: Collection[str], name: str) -> None:
    """Refuse a word that is not on the list, and name the nearest one that is."""
    if value in allowed:
        return
    words = [str(word) for word in allowed]
    near = nearest(value, words)
    raise InputError(
        f"{name} is {value!r}",
        f"{name} as one of: {', '.join(words)}",
        f"did you mean {near!r}?" if near else "choose a word from the list",
    )


LONGEST_NAME: Final = 60
"""Characters of a name that are compared; the search takes long on a whole paragraph."""


def nearest(name: object, known: Collection[str]) -> str:
    """The known name that is most like the one that was met, capitals aside; an empty text where none is.

    Examples
    --------
    >>> nearest("Beet molases", ["beet molasses", "white sugar"])
    'beet molasses'
    """
    by_name = {word.casefold(): word for word in known}
    near = difflib.get_close_matches(str(name)[:LONGEST_NAME].casefold(), list(by_name), n=1)
    return by_name[near[0]] if near else ""


def _short(value: object, limit: int = 60) -> str:
    text = repr(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"
