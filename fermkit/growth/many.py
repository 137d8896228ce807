"""Thousands of growth curves in one call: a class, plates, resamples."""

import sys
import time as clock
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.basis.checks import Floats, one_of
from fermkit.basis.errors import InputError
from fermkit.growth.curves import shape_named
from fermkit.growth.least_squares import quiet
from fermkit.growth.problem import pose
from fermkit.growth.verdicts import COLUMNS, FEW, VERDICTS, judge
from fermkit.growth.weights import solve

if TYPE_CHECKING:
    import pandas as pd

CHUNK = 2000
"""Curves in a block: few enough to stay in the processor's cache."""


def fit_growth_many(
    time_h: ArrayLike,
    amounts: ArrayLike,
    curve: str = "gompertz",
    noise: Literal["independent", "accumulating"] = "independent",
    *,
    u: float | ArrayLike | None = None,
) -> "pd.DataFrame":
    """Fit thousands of growth curves at once; the same optimum as `fit_growth` one by one.

    Blocks of curves go through joblib, so that threads, processes or a cluster can be put under it
    from outside: ``with joblib.parallel_config(backend="loky", n_jobs=4): fit_growth_many(...)``.

    Parameters
    ----------
    time_h : array-like of shape (n,) or (m, n)
        Time since the start [h]: one row for all, or one each. NaN where there is no reading.
    amounts : array-like of shape (m, n)
        Readings, one row a curve; NaN where one is missing.
    curve, noise, u
        As for `fit_growth`; `u` may also have one row a curve.

    Returns
    -------
    pandas.DataFrame
        One row a curve: `final_amount`, `max_rate`, `lag_h`, `asymptote`, each with its standard
        uncertainty `u_…`, the `scatter` of the readings, and a `verdict` in words. A number that the
        readings cannot give is NaN, and the verdict says why.

    Raises
    ------
    InputError
        For tables of a wrong shape, infinite values, times that do not rise.

    Examples
    --------
    >>> from fermkit.growth.curves import gompertz
    >>> t = np.linspace(0, 48, 25)
    >>> wobble = 3 * np.cos(40 * t)
    >>> table = fit_growth_many(t, [gompertz(t, A, 40, 6) + wobble for A in (500, 600, 700)])
    >>> print(table[["final_amount", "max_rate", "lag_h"]].round(2).to_string(index=False))
     final_amount  max_rate  lag_h
           499.95     39.97   5.99
           599.74     40.00   6.00
           699.20     40.01   6.02
    """
    import pandas as pd

    shape = shape_named(curve)
    one_of(noise, ("independent", "accumulating"), "noise")
    times, table, errors = _tables(time_h, amounts, u, noise)
    if len(times) == 1 and np.isnan(times).any():
        raise InputError(
            f"{int(np.isnan(times).sum())} of {times.size} times are missing",
            "a time for every column",
            "leave the column out",
        )
    m = len(table)
    values = np.empty((m, len(COLUMNS)))
    verdicts = np.empty(m, dtype=np.int8)
    jobs = [slice(i, min(i + CHUNK, m)) for i in range(0, m, CHUNK)]
    arguments = (
        (_cut(times, rows), table[rows], shape.name, noise, None if errors is None else _cut(errors, rows))
        for rows in jobs
    )
    for rows, (numbers, words) in zip(jobs, _in_blocks(fit_chunk, arguments, len(jobs))):
        values[rows], verdicts[rows] = numbers, words
    out = pd.DataFrame(values, columns=list(COLUMNS), copy=False)
    out["verdict"] = pd.Categorical.from_codes(verdicts, categories=list(VERDICTS))
    return out


def _cut(array: Floats, rows: slice) -> Floats:
    return array if len(array) == 1 else array[rows]


def _in_blocks(work: Callable[..., Any], arguments: Any, count: int) -> Any:
    """Results of the blocks in order; after two seconds, says how far it has come."""
    if count == 1:
        yield work(*next(arguments))
        return
    from joblib import Parallel, delayed

    began, said = clock.perf_counter(), False
    for done, result in enumerate(Parallel(return_as="generator")(delayed(work)(*one) for one in arguments), 1):
        yield result
        if sys.stderr.isatty() and clock.perf_counter() - began > 2:
            print(f"\r{100 * done // count} % of the curves fitted", end="", file=sys.stderr, flush=True)
            said = True
    if said:
        print(file=sys.stderr)


def _tables(
    time_h: ArrayLike, amounts: ArrayLike, u: float | ArrayLike | None, noise: str
) -> tuple[Floats, Floats, Floats | None]:
    """Times (1 or m, n), readings (m, n), errors (1 or m, n or n - 1), checked."""
    try:
        table, times = np.asarray(amounts, dtype=float), np.atleast_2d(np.asarray(time_h, dtype=float))
        errors = None if u is None else np.atleast_2d(np.array(u, dtype=float))
    except (TypeError, ValueError, OverflowError) as problem:
        raise InputError(
            f"a table that cannot be read as numbers ({problem})",
            "rows of equal length",
            "correct the entry; NaN for a missing one",
        ) from None
    if table.ndim != 2 or 0 in table.shape:
        raise InputError(f"amounts of shape {table.shape}", "one row a curve: (m, n)", "stack the curves as rows")
    if times.ndim != 2 or times.shape[1] != table.shape[1] or len(times) not in (1, len(table)):
        raise InputError(
            f"times of shape {np.shape(time_h)} for amounts of shape {table.shape}",
            "one time for each column, or one for each reading",
            "check that no column was dropped from one of them",
        )
    for name, array in (("time [h]", times), ("amounts", table)):
        if not _ordinary(array):
            _refuse_endless(name, array)
    _rising_rows(times)
    if errors is not None:
        columns = table.shape[1] - (noise == "accumulating")
        if errors.shape[0] not in (1, len(table)) or errors.shape[1] not in (1, columns):
            raise InputError(
                f"u of shape {np.asarray(u).shape}",
                f"one number, {columns} numbers, or {table.shape[0]} rows of them",
                "give one u for each reading (increment, for accumulating noise)",
            )
        if not (np.isfinite(errors) & (errors > 0)).all():
            raise InputError(f"u of {errors[~(errors > 0)][:1]}", "u above zero", "leave u out if it is not known")
        errors = np.broadcast_to(errors, (len(errors), columns))
    return times, table, errors


@quiet
def _ordinary(array: Floats) -> bool:
    """Whether every number is there and of a usable size: one quick pass."""
    flat = array.ravel()
    return bool(np.dot(flat, flat) < 1e60)


@quiet
def _refuse_endless(name: str, array: Floats) -> None:
    big = np.abs(np.where(np.isnan(array), 0.0, array))
    if np.isinf(big).any():
        row, column = np.argwhere(np.isinf(big))[0] + 1
        raise InputError(f"{name} infinite in row {row}, column {column}", "finite numbers", "correct the reading")
    if big.max() > 1e30:
        raise InputError(f"{name} of {big.max():g}", "numbers of 1e30 at most", "choose a larger unit")


def _rising_rows(times: Floats) -> None:
    filled = np.where(np.isnan(times), -np.inf, times)
    before = np.maximum.accumulate(filled, axis=1)[:, :-1]
    back = ~np.isnan(times[:, 1:]) & (times[:, 1:] <= before)
    if back.any():
        row, column = np.argwhere(back)[0]
        raise InputError(
            f"time {times[row, column + 1]:g} h in row {row + 1}, column {column + 2}, after {before[row, column]:g} h",
            "times that rise from one reading to the next",
            "sort the readings, or drop the repeated one",
        )


def fit_chunk(
    times: Floats, table: Floats, curve: str, noise: str, errors: Floats | None
) -> tuple[Floats, NDArray[np.int8]]:
    """A block of curves, start to end: plain arrays in, plain arrays out, nothing kept.

    Returns the numbers named in `COLUMNS`, (m, 9), and the place of each verdict in `VERDICTS`, (m,).
    """
    shape = shape_named(curve)
    values = np.full((len(table), len(COLUMNS)), np.nan)
    verdicts = np.full(len(table), FEW, dtype=np.int8)
    there = np.ones(table.shape, dtype=bool) if _ordinary(table) else np.isfinite(table)
    if np.isnan(times).any():
        there &= np.isfinite(times)
    enough = there.sum(axis=1) > shape.parameters + (noise == "accumulating")
    if not enough.any():
        return values, verdicts
    whole = enough.all()
    rows = slice(None) if whole else enough
    time = times if len(times) == 1 else times[rows]
    sd = errors if errors is None or len(errors) == 1 else errors[rows]
    problem, level = pose(time, table[rows], there[rows], noise, sd)
    problem, found = solve(shape, problem, level)
    values[rows], verdicts[rows] = judge(shape, problem, found, level)
    return values, verdicts
