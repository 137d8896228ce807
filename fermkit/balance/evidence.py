"""What the explanations of a gap reason from: amounts, their doubt, and what tests them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy import linalg

from fermkit.balance.redundancy import Redundancy
from fermkit.balance.streams import LinearMeasurement, Stream, grams_per_unit
from fermkit.basis.checks import Floats
from fermkit.basis.written import nominal, uncertainty
from fermkit.matter.composition import compound

_HEXOSE_G: Final = compound("hexose").molar_mass
_FREE_FIRST: Final = ("sugar", "yeast", "glycerol", "organic acids", "O2", "CO2", "other", "ethanol", "reading")


@dataclass(frozen=True)
class Evidence:
    """What the explanations reason from: known amounts, their covariance, and the tests among them.

    Attributes
    ----------
    names, roles, standing : tuples of str
        Of each known amount.
    follows : tuple of tuple of int
        For each known amount, the columns that were derived from it and move with it.
    x, V : arrays
        Amounts (consumed negative) and covariance.
    R : (n_tests, n) array
        Tests of the balances first, then the usual yeast yield.
    K : (n_tests, n_rows) array
        The same tests as combinations of the balance rows.
    rows : tuple of str
        Elements that are balanced.
    n_balance : int
        How many of the tests come from balances.
    scale_free : tuple of bool
        Amounts of which nothing is known beforehand, not even the order of magnitude.
    carbon_in : float
        Carbon of the sugar [mol].
    units, formulas : tuples of str
    """

    names: tuple[str, ...]
    roles: tuple[str, ...]
    standing: tuple[str, ...]
    follows: tuple[tuple[int, ...], ...]
    x: Floats
    V: Floats
    R: Floats
    K: Floats
    rows: tuple[str, ...]
    n_balance: int
    scale_free: tuple[bool, ...]
    carbon_in: float
    units: tuple[str, ...]
    formulas: tuple[str, ...]


def gather(
    known: Sequence[Stream],
    extra: Sequence[LinearMeasurement],
    x: Floats,
    V: Floats,
    found: Redundancy,
    rows: Sequence[str],
    nitrogen: str,
    yeast_yield: Any,
) -> Evidence:
    """Evidence of a balance, with the usual yeast yield as one more test where sugar is fermented to ethanol.

    The yield joins as an amount of zero, ``yeast - yield * sugar``, whose uncertainty is that of the yield.
    """
    n_extra, n_balance = len(extra), found.R.shape[0]
    names = [s.name for s in known] + [m.name for m in extra]
    roles = [s.role for s in known] + ["reading"] * n_extra
    standing = [s.standing for s in known] + [m.standing for m in extra]
    ties = [s.tied_to for s in known] + [""] * n_extra
    units = [s.unit for s in known] + [""] * n_extra
    formulas = [s.made_of.formula for s in known] + [""] * n_extra
    hexose = np.array([_hexose_g(s, nitrogen) for s in known] + [0.0] * n_extra)
    yeast = np.array([grams_per_unit(s) if s.role == "yeast" else 0.0 for s in known] + [0.0] * n_extra)
    carbon_in = float(-(hexose @ x) / _HEXOSE_G * 6)
    R, K = found.R, found.K
    if uncertainty(yeast_yield) > 0 and {"sugar", "ethanol", "yeast"} <= set(roles):
        doubt = uncertainty(yeast_yield) * float(hexose @ x)
        row = np.append(yeast + nominal(yeast_yield) * hexose, -1.0)
        x, V = np.append(x, 0.0), linalg.block_diag(V, doubt**2)
        R = np.vstack([np.hstack([R, np.zeros((n_balance, 1))]), row])
        K = np.vstack([K, np.zeros(K.shape[1])])
        for column, value in zip(
            (names, roles, standing, ties, units, formulas), ("usual yeast yield", "yield", "usual", "sugar", "g", "")
        ):
            column.append(value)
    return Evidence(
        names=tuple(names),
        roles=tuple(roles),
        standing=tuple(standing),
        follows=tuple(_followers(role, where, value, ties) for role, where, value in zip(roles, standing, x)),
        x=x,
        V=V,
        R=R,
        K=K,
        rows=tuple(rows),
        n_balance=n_balance,
        scale_free=_scale_free(roles, standing, len(x) - R.shape[0]),
        carbon_in=carbon_in,
        units=tuple(units),
        formulas=tuple(formulas),
    )


def _hexose_g(s: Stream, nitrogen: str) -> float:
    """Grams of hexose that hold the carbon of one unit of a sugar."""
    return s.content(nitrogen).get("C", 0.0) / 6 * _HEXOSE_G if s.role == "sugar" else 0.0


def _followers(role: str, standing: str, value: float, ties: Sequence[str]) -> tuple[int, ...]:
    """What was derived from a stream: acids from the sugar that went in, glycerol from the yeast that came out."""
    main = standing == "measured" and (value < 0 if role == "sugar" else value > 0)
    return tuple(j for j, tie in enumerate(ties) if tie == role and main)


def _scale_free(roles: Sequence[str], standing: Sequence[str], n: int) -> tuple[bool, ...]:
    """The n amounts that carry the run itself (how much, how it grew); the others are tests of them."""
    rank = [
        -1 if where != "measured" else _FREE_FIRST.index(r) if r in _FREE_FIRST else 6
        for r, where in zip(roles, standing)
    ]
    first = set(sorted(range(len(roles)), key=rank.__getitem__)[:n])
    return tuple(i in first for i in range(len(roles)))
