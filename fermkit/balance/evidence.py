"""What the explanations of a gap reason from: amounts, their doubt, and what tests them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import linalg

from fermkit.balance.redundancy import Redundancy
from fermkit.balance.streams import LinearMeasurement, Stream, grams_per_unit
from fermkit.basis.checks import Floats
from fermkit.basis.written import Number, nominal, uncertainty
from fermkit.matter.composition import compound

HEXOSE_G: Final = compound("hexose").molar_mass
FREE_FIRST: Final = ("sugar", "yeast", "glycerol", "organic acids", "O2", "CO2", "other", "ethanol", "reading")
"""Which amounts rather carry the run (how much, how it grew) than test it, first to last."""


@dataclass(frozen=True)
class Amount:
    """One known amount: its name, what it is in the run, whether it was measured, and what it was derived from."""

    name: str
    role: str
    standing: str
    unit: str = ""
    formula: str = ""
    tied_to: str = ""

    @property
    def measured(self) -> bool:
        """Whether somebody measured it."""
        return self.standing == "measured"


@dataclass(frozen=True)
class Evidence:
    """What the explanations reason from: known amounts, their covariance, and the tests among them.

    Attributes
    ----------
    amounts : tuple of Amount
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
    testing : tuple of int
        Measured amounts that test the run, rather than carry it: something is known of them beforehand.
    carbon_in : float
        Carbon of the sugar [mol].
    """

    amounts: tuple[Amount, ...]
    x: Floats
    V: Floats
    R: Floats
    K: Floats
    rows: tuple[str, ...]
    n_balance: int
    testing: tuple[int, ...]
    carbon_in: float

    def followers(self, i: int) -> list[int]:
        """What was derived from an amount and moves with it: acids with the sugar used, glycerol with the yeast."""
        one = self.amounts[i]
        main = one.measured and (self.x[i] < 0 if one.role == "sugar" else self.x[i] > 0)
        return [j for j, other in enumerate(self.amounts) if main and other.tied_to == one.role]

    def inside(self, formula: str) -> Floats:
        """What one mole of a compound puts into each balance row."""
        thing = compound(formula)
        rows = [thing.electrons if row == "electrons" else thing.atoms.get(row, 0.0) for row in self.rows]
        return np.array(rows + [0.0] * (self.K.shape[1] - len(rows)))

    def misfit(self, n: int | None = None) -> float:
        """Chi-square of the first n tests (all, if not told) with the amounts as reported."""
        R = self.R[:n]
        gap = R @ self.x
        return float(gap @ np.linalg.solve(R @ self.V @ R.T, gap))


def gather(
    known: Sequence[Stream],
    extra: Sequence[LinearMeasurement],
    x: Floats,
    V: Floats,
    found: Redundancy,
    rows: Sequence[str],
    nitrogen: str,
    yeast_yield: Number,
) -> Evidence:
    """Evidence of a balance, with the usual yeast yield as one more test where sugar is fermented to ethanol.

    The yield joins as an amount of zero, ``yeast - yield * sugar``, whose uncertainty is that of the yield.
    """
    n_balance, beside = found.R.shape[0], [0.0] * len(extra)
    amounts = [Amount(s.name, s.role, s.standing, s.unit, s.made_of.formula, s.tied_to) for s in known]
    amounts += [Amount(m.name, "reading", m.standing) for m in extra]
    hexose = np.array([_hexose_g(s, nitrogen) for s in known] + beside)
    yeast = np.array([grams_per_unit(s) if s.role == "yeast" else 0.0 for s in known] + beside)
    carbon_in = float(-(hexose @ x) / HEXOSE_G * 6)
    R, K = found.R, found.K
    if uncertainty(yeast_yield) > 0 and {"sugar", "ethanol", "yeast"} <= {a.role for a in amounts}:
        doubt = uncertainty(yeast_yield) * float(hexose @ x)
        row = np.append(yeast + nominal(yeast_yield) * hexose, -1.0)
        x, V = np.append(x, 0.0), linalg.block_diag(V, doubt**2)
        R = np.vstack([np.hstack([R, np.zeros((n_balance, 1))]), row])
        K = np.vstack([K, np.zeros(K.shape[1])])
        amounts.append(Amount("usual yeast yield", "yield", "usual", "g", tied_to="sugar"))
    carrying = _carrying(amounts, len(x) - R.shape[0])
    testing = tuple(i for i, a in enumerate(amounts) if a.measured and i not in carrying)
    return Evidence(tuple(amounts), x, V, R, K, tuple(rows), n_balance, testing, carbon_in)


def _hexose_g(s: Stream, nitrogen: str) -> float:
    """Grams of hexose that hold the carbon of one unit of a sugar."""
    return s.content(nitrogen).get("C", 0.0) / 6 * HEXOSE_G if s.role == "sugar" else 0.0


def _carrying(amounts: Sequence[Amount], n: int) -> set[int]:
    """The n amounts of which nothing is known beforehand, not even the order of magnitude."""
    rank = [FREE_FIRST.index(a.role if a.role in FREE_FIRST else "other") if a.measured else -1 for a in amounts]
    return set(sorted(range(len(amounts)), key=rank.__getitem__)[:n])
