"""Yeast counted under a grid of known depth: cells in a millilitre, how many are alive, grams, growth."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from scipy import special
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import numbers, positive, same_length
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Number, Page, Written, nominal, plus_minus, uncertainty

MIDDLE_SQUARE_NL: Final = 4.0
"""A middle square of the usual chamber: 0.2 mm × 0.2 mm × 0.1 mm deep, 25 of them make one square millimetre [nL]."""

FILLING: Final = 0.05
"""± of one filling of the chamber, as a share: how it was mixed, drawn and wetted (common practice, no source)."""

ML_PER_NL: Final = 1e-6
PG_PER_G: Final = 1e12
UNEVEN: Final = 0.05
"""Fillings of one sample that differ so much by chance in one of twenty are taken at their own scatter [-]."""

FEW_LIVING: Final = 0.75
"""Below this share alive yeast of one's own is usually not used again [-]: common practice, no source."""


@dataclass(frozen=True, repr=False)
class CellCount(Written):
    """Yeast counted in one sample.

    Attributes
    ----------
    per_mL : ufloat
        Cells in a millilitre of the sample, living and dead.
    cells, squares : int
        Counted in all, in so many squares.
    fillings : int
        How often the chamber was filled.
    uneven_p : float
        How often fillings differ as much by chance; NaN for a single one.
    dead : int or None
        Stained cells among them; None where none were told apart.
    alive : ufloat or None
        Share that is alive [-].
    alive_limits : (float, float)
        Its 95 % interval.
    """

    per_mL: Any
    cells: int
    squares: int
    fillings: int
    uneven_p: float
    dead: int | None
    alive: Any
    alive_limits: tuple[float, float]

    @property
    def living_per_mL(self) -> Any:
        """Living cells in a millilitre; None where the dead were not told apart."""
        return None if self.alive is None else self.per_mL * self.alive

    def grams_per_L(self, cell_pg: Number) -> Any:
        """Dry yeast in a litre, living and dead [g/L], from the dry mass of a cell [pg].

        Examples
        --------
        >>> print(f"{count_cells(400, 25).grams_per_L(40.0):.3f}")
        0.160+/-0.011
        """
        positive(nominal(cell_pg), "dry mass of a cell [pg]")
        return self.per_mL * cell_pg * 1000.0 / PG_PER_G

    def page(self) -> Page:
        """Cells, the share alive, and what to doubt."""
        lines = [Line("cells", self.per_mL / 1e6, "million/mL", f"{self.cells} counted in {self.squares} squares")]
        if self.alive is not None:
            low, high = self.alive_limits
            lines.append(Line("alive", self.alive * 100, "%", f"{self.dead} stained", (100 * low, 100 * high)))
        return Page("Yeast counted", lines, self.doubts())

    def doubts(self) -> list[str]:
        """What the numbers alone do not say."""
        said = []
        if self.uneven_p < UNEVEN:
            said.append("The fillings differ by more than counting explains: clumps, or a sample not well mixed.")
        if self.alive is not None and self.alive_limits[1] < FEW_LIVING:
            said.append(
                f"Less than {100 * FEW_LIVING:.0f} % are alive: dead yeast makes no gas and feeds the living."
            )
        return said


def count_cells(
    cells: ArrayLike,
    squares: ArrayLike,
    *,
    dead: ArrayLike | None = None,
    square_nL: Number = MIDDLE_SQUARE_NL,
    dilution: Number = 1.0,
    u_filling: float = FILLING,
) -> CellCount:
    """Cells in a millilitre, from a count under a grid.

    Parameters
    ----------
    cells, squares : int, or array-like of shape (n,)
        Cells counted, dead ones among them, and in how many squares; one number each filling of the chamber.
    dead : int or array-like, optional
        Cells that took the stain.
    square_nL : float or ufloat
        What is above one square [nL]: its sides times the depth.
    dilution : float or ufloat
        How many times the sample was diluted, the stain counted.
    u_filling : float
        ± of one filling, as a share.

    Returns
    -------
    CellCount

    Notes
    -----
    per mL = Σ cells/(Σ squares · volume) · dilution; u² adds up 1/Σ cells (Poisson; the scatter between fillings where
    that is larger beyond chance), u_filling²/n, and those of volume and dilution. The share alive has Jeffreys'
    interval: quantiles of the beta distribution of living + ½ and dead + ½.

    Raises
    ------
    InputError
        For what is no count, no cell at all, or more dead cells than cells.

    Examples
    --------
    >>> found = count_cells([212, 198], [25, 25], dead=[14, 11], dilution=10)
    >>> print(f"{found.per_mL / 1e6:.1f} million/mL, {100 * found.alive:.1f} % alive")
    20.5+/-1.2 million/mL, 93.9+/-1.2 % alive

    References
    ----------
    Student 1907, Biometrika 5, 351; Brown, Cai & DasGupta 2001, Stat. Sci. 16, 101 (Jeffreys' interval).
    """
    counted, area = _whole(cells, "cells"), _whole(squares, "squares")
    same_length(cells=list(counted), squares=list(area))
    stained = None if dead is None else _whole(dead, "dead cells")
    if stained is not None:
        same_length(cells=list(counted), dead=list(stained))
        if (stained > counted).any():
            worst = int(np.argmax(stained > counted))
            raise InputError(
                f"{stained[worst]:g} dead cells among {counted[worst]:g}", "no more dead cells than cells",
                "count all cells under cells, the stained ones under dead as well",
            )  # fmt: skip
    for value, name in ((square_nL, "volume above a square [nL]"), (dilution, "dilution"), (u_filling, "u_filling")):
        positive(nominal(value), name)
    if (area < 1).any() or counted.sum() < 1:
        raise InputError(
            f"{counted.sum():g} cells in {area.sum():g} squares", "at least one cell, in at least one square",
            "count more squares, or dilute less",
        )  # fmt: skip
    n, whole = counted.size, float(counted.sum())
    expected = whole * area / area.sum()
    index = float(np.sum((counted - expected) ** 2 / expected))
    p = float(special.chdtrc(n - 1, index)) if n > 1 else float("nan")
    more = index / (n - 1) if p < UNEVEN else 1.0
    mean = whole / float(area.sum())
    u = mean * float(np.sqrt(more / whole + u_filling**2 / n))
    seen = ufloat(mean, u, tag=Act("cell counts", "counting cells"))
    per_mL = seen / (square_nL * ML_PER_NL) * dilution
    if stained is None:
        return CellCount(per_mL, int(whole), int(area.sum()), n, p, None, None, (0.0, 1.0))
    dyed = float(stained.sum())
    a, b = whole - dyed + 0.5, dyed + 0.5  # Jeffreys' beta distribution of the share alive
    told = Act("stained cells", "telling dead cells by a stain")
    alive = ufloat((whole - dyed) / whole, float(np.sqrt(a * b / (a + b + 1)) / (a + b)), tag=told)
    low, high = (float(special.betaincinv(a, b, one)) for one in (0.025, 0.975))
    limits = (low if dyed < whole else 0.0, high if dyed else 1.0)
    return CellCount(per_mL, int(whole), int(area.sum()), n, p, int(dyed), alive, limits)


def _whole(values: ArrayLike, name: str) -> Any:
    x = numbers(np.atleast_1d(np.asarray(values, dtype=object)), name)
    wrong = (x < 0) | (x != np.round(x))
    if wrong.any():
        raise InputError(f"{name}: {x[wrong][0]:g}", "whole numbers, 0 or more", "count whole cells and whole squares")
    return x


@dataclass(frozen=True, repr=False)
class Interval(Written):
    """What yeast did between two readings: growth rate [1/h], and CO2 for each gram of it [g/(g h)] where known."""

    start_h: float
    end_h: float
    per_h: Any
    gas_per_gram_h: Any = None

    def page(self) -> Page:
        """The two rates."""
        return Page("Between two readings of the yeast", self.lines())

    def lines(self) -> list[Line]:
        """One line each rate."""
        when = f"{self.start_h:.3g} to {self.end_h:.3g} h"
        said = [Line(f"growth of the yeast, {when}", self.per_h, "1/h", "" if self._shown else "not shown")]
        if self.gas_per_gram_h is not None:
            said.append(Line(f"CO2 of each gram of yeast, {when}", self.gas_per_gram_h, "g/(g h)"))
        return said

    @property
    def _shown(self) -> bool:
        """Whether the yeast has changed by more than its ±."""
        return bool(abs(nominal(self.per_h)) > 2 * uncertainty(self.per_h))


def between_readings(
    time_h: Sequence[float], yeast: Sequence[Number], gas_g: Sequence[float] = (), grams: Sequence[Number] = ()
) -> tuple[Interval, ...]:
    """How fast yeast grew between readings one after another, and how hard each gram worked.

    Parameters
    ----------
    time_h : sequence of float
        Rising [h].
    yeast : sequence of ufloat
        Cells, grams or optical density, as long as all are the same. What they share (a dilution, the mass of a cell)
        falls out of the growth.
    gas_g : sequence of float, optional
        CO2 made by each time [g].
    grams : sequence of ufloat, optional
        Yeast in the vessel at each time [g].

    Returns
    -------
    tuple of Interval

    Notes
    -----
    µ = ln(x₂/x₁)/(t₂ − t₁); CO2 over the time and the logarithmic mean of the grams, which is their mean over the time
    where they grow at one rate.

    Examples
    --------
    >>> found = between_readings([0, 4], [ufloat(1.0, 0.05), ufloat(4.0, 0.2)])
    >>> print(found[0].per_h)
    0.347+/-0.018
    """
    from uncertainties.umath import log

    out = []
    for i in range(len(time_h) - 1):
        hours = time_h[i + 1] - time_h[i]
        positive(hours, "time between two readings [h]")
        for value in yeast[i : i + 2]:
            positive(nominal(value), "yeast at a reading")
        rate, worked = log(yeast[i + 1] / yeast[i]) / hours, None
        if len(gas_g) and len(grams):
            first, last = grams[i], grams[i + 1]
            close = abs(nominal(last) / nominal(first) - 1) < 1e-3
            mean = (first + last) / 2 if close else (last - first) / log(last / first)
            worked = (gas_g[i + 1] - gas_g[i]) / hours / mean
        out.append(Interval(float(time_h[i]), float(time_h[i + 1]), rate, worked))
    return tuple(out)


def doublings(yeast: Sequence[Number]) -> str:
    """From the first reading to the highest, in words.

    Examples
    --------
    >>> doublings([ufloat(1.0, 0.05), ufloat(8.0, 0.4), ufloat(7.5, 0.4)])
    'From the first reading to the highest the yeast became 8.0 ± 0.6 times as much: 3.00 ± 0.10 doublings.'
    """
    from uncertainties.umath import log

    most = max(yeast, key=nominal)
    times = most / yeast[0]
    if most is yeast[0]:
        return "No later reading shows more yeast than the first."
    return (
        f"From the first reading to the highest the yeast became {plus_minus(times)} times as much: "
        f"{plus_minus(log(times) / float(np.log(2.0)))} doublings."
    )
