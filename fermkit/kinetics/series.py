"""Readings of a batch in time: what each kind says of the batch, and the errors it carries."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.basis.checks import not_negative, numbers, one_of, rising, same_length
from fermkit.basis.errors import InputError
from fermkit.kinetics.course import Course, Surroundings
from fermkit.kinetics.rates import CO2, INDEX

Floats = NDArray[np.float64]
Kind = Literal["gas released", "gas left", "gas made", "mass lost", "sugar", "alcohol", "density", "yeast", "cells"]

UNITS: Final = {
    "gas released": "mol", "gas left": "mol", "gas made": "mol", "mass lost": "g", "sugar": "g/L", "alcohol": "g/L",
    "density": "g/mL", "yeast": "g/L", "cells": "million/mL",
}  # fmt: skip
"""The kinds of reading and their units. Gas, mass and density count from their first reading."""

GASES: Final = ("gas released", "gas left", "gas made", "mass lost")
FROM_FIRST: Final = (*GASES, "density")

AIR: Final = 28.97
"""Molar mass of dry air [g/mol]: ISO 2533:1975."""

VAPOUR: Final = 0.6
"""Water and ethanol vapour that leave with each mole of gas [g/mol]: 3 % of water and 0.3 % of ethanol at 25 °C."""

BY_SUGAR: Final = 0.000375
"""Density for each g/L of sugar, as hexose [g/mL per g/L]: 0.000365 while it is sucrose (Laliberté 2009), 0.000385 as
glucose (common practice)."""

BY_ETHANOL: Final = -0.000178
"""Density for each g/L of ethanol up to 10 % vol [g/mL per g/L]: OIML R 22."""

CELL_G_PER_L: Final = 0.03
"""Dry yeast for a million cells in a mL [g/L]: 30 pg a cell; common practice, a third either way."""

MOST_ROWS: Final = 240
"""Readings of one kind that are used; of more, evenly spread ones are taken, since neighbours share their misfit."""


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one kind.

    Attributes
    ----------
    kind : str
        One of `UNITS`, which names the unit.
    time_h, value : numpy.ndarray of shape (n,)
    u, u_step : numpy.ndarray of shape (n,)
        Standard uncertainty of each reading; of each increment, inherited by all later readings.
    u_common : float
        Relative standard uncertainty of a factor common to all of them [-].
    """

    kind: str
    time_h: Floats
    value: Floats
    u: Floats
    u_step: Floats
    u_common: float

    @property
    def counted(self) -> bool:
        """Whether only differences from the first reading say something."""
        return self.kind in FROM_FIRST


def series(
    kind: Kind,
    time_h: ArrayLike,
    value: ArrayLike,
    u: float | ArrayLike,
    *,
    u_step: float | ArrayLike = 0.0,
    u_common: float = 0.0,
) -> Series:
    """Readings of one kind, with their three kinds of error.

    Parameters
    ----------
    kind : str
        ``"gas released"`` (caught: a leak passes it by), ``"gas left"`` (worked out from a weight, which misses no
        leak) or ``"gas made"`` [mol], ``"mass lost"`` [g], ``"sugar"``, ``"alcohol"``, ``"yeast"`` (dry) [g/L],
        ``"density"`` [g/mL], ``"cells"`` [million/mL].
    time_h : array-like of shape (n,)
        Since the yeast was pitched, rising [h].
    value : array-like of shape (n,)
        NaN where a reading is missing. Gas, mass and density count from the first reading.
    u : float or array-like
        Standard uncertainty of each reading, in its unit; above zero unless `u_step` is.
    u_step : float or array-like
        Standard uncertainty of each increment, in its unit.
    u_common : float
        Relative standard uncertainty of a common factor: a bubble volume, a barometer, the mass of a cell.

    Returns
    -------
    Series

    Examples
    --------
    >>> series("alcohol", [10, 24], [12.0, 41.0], 1.0).value
    array([12., 41.])
    """
    one_of(kind, UNITS, "kind of reading")
    not_negative(u_common, "u_common", do="give the relative standard uncertainty, e.g. 0.02")
    time, read = numbers(time_h, "time [h]", missing="keep"), numbers(value, kind, missing="keep")
    same_length(time=list(time), value=list(read))
    each, step = (np.broadcast_to(np.asarray(x, dtype=float), time.shape) for x in (u, u_step))
    there = np.isfinite(time) & np.isfinite(read)
    if there.sum() < 1 + (kind in FROM_FIRST):
        raise InputError(
            f"{int(there.sum())} readings of the kind {kind!r}",
            "at least two where they count from the first, else one",
            "add readings, or leave this kind out",
        )
    walked = np.cumsum(step**2)[there]
    time, read, each = time[there], read[there], each[there]
    rising(time, "time [h]")
    if time[0] < 0:
        raise InputError(f"a reading at {time[0]:g} h", "hours since the yeast was pitched", "mend the clock")
    if not (np.all(each >= 0) and np.all(each**2 + np.diff(walked, prepend=0.0) > 0)):
        raise InputError(
            f"a ± of zero for a reading of the kind {kind!r}", "a ± above zero", "give what the instrument can tell"
        )
    if time.size > MOST_ROWS:
        keep = np.unique(np.linspace(0, time.size - 1, MOST_ROWS).round().astype(int))
        time, read, each, walked = time[keep], read[keep], each[keep], walked[keep]
    return Series(kind, time, read, each, np.sqrt(np.diff(walked, prepend=0.0)), float(u_common))


def expected(one: Series, at: Course, p: Any, around: Surroundings, slopes: bool) -> tuple[Floats, Floats | None]:
    """What the batch would show on an instrument of this kind: (B, n), and the slopes (B, n, 22)."""
    d = at.slopes
    if one.kind == "gas left":
        return at.released, d["released"] if slopes else None
    if one.kind in ("gas released", "gas made"):
        name = "released" if one.kind == "gas released" else "made"
        value = getattr(at, name) * p["gas factor"]
        if not slopes:
            return value, None
        out = d[name] * p["gas factor"][..., None]
        out[..., INDEX["gas factor"]] = value
        return value, out
    if one.kind == "mass lost":
        # what leaves first is the lighter air of the gas space
        space = p["gas space"] * max(around.gas_space_mol, 1e-6)
        air = np.exp(-at.released / space)
        value = (CO2 + VAPOUR) * at.released - (CO2 - AIR) * space * (1 - air)
        if not slopes:
            return value, None
        out = (CO2 + VAPOUR - (CO2 - AIR) * air)[..., None] * d["released"]
        out[..., INDEX["gas space"]] -= (CO2 - AIR) * (space * (1 - air) - at.released * air)
        return value, out
    if one.kind == "sugar":
        out = -d["sugar_used"] if slopes else None
        if out is not None:
            out[..., INDEX["sugar"]] += p["sugar"]
        return p["sugar"] - at.sugar_used, out
    if one.kind == "density":
        value = BY_ETHANOL * at.ethanol - BY_SUGAR * at.sugar_used
        return value, BY_ETHANOL * d["ethanol"] - BY_SUGAR * d["sugar_used"] if slopes else None
    if one.kind == "alcohol":
        return at.ethanol, d["ethanol"] if slopes else None
    scale = 1.0 if one.kind == "yeast" else 1 / CELL_G_PER_L
    return at.yeast * scale, d["yeast"] * scale if slopes else None


def differences(one: Series, value: Any) -> Any:
    """What is compared: the readings, or where only differences count, those from the first."""
    return value[..., 1:] - value[..., :1] if one.counted else value


def covariance(one: Series, misfit: float, length_h: float) -> Floats:
    """Covariance of the compared readings, the common factor left out.

    Errors of reading on the diagonal, those of the increments inherited by all later readings, the first reading's own
    error in all differences; for gas a misfit of the model besides, a smooth random curve of standard deviation
    `misfit` (in the unit read) whose values keep together over `length_h`.
    """
    walk = np.cumsum(one.u_step**2)
    out = np.minimum.outer(walk, walk) + np.diag(one.u**2)
    if one.kind in GASES:
        out += misfit**2 * np.exp(-((one.time_h[:, None] - one.time_h) ** 2) / (2 * length_h**2))
    if not one.counted:
        return out
    return np.asarray(out[1:, 1:] - out[1:, :1] - out[:1, 1:] + out[0, 0])


def reading_hours(readings: Sequence[Series]) -> Floats:
    """All hours at which something was read."""
    return np.unique(np.concatenate([one.time_h for one in readings]))
