"""Who owns which share of an uncertainty, and how far few degrees of freedom widen an interval."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special
from uncertainties import UFloat

from fermkit.basis.checks import Floats
from fermkit.basis.written import Line, Page, Written, uncertainty


def student(degrees_of_freedom: float, level: float = 0.95) -> float:
    """Two-sided Student factor; the normal one for infinitely many degrees of freedom.

    Examples
    --------
    >>> round(student(4), 5), round(student(float("inf")), 6)
    (2.77645, 1.959964)

    References
    ----------
    JCGM 100:2008 (GUM), annex G.
    """
    upper = 0.5 + level / 2
    if not np.isfinite(degrees_of_freedom):
        return float(special.ndtri(upper))
    return float(special.stdtrit(degrees_of_freedom, upper))


def effective_degrees_of_freedom(parts: Sequence[tuple[float, float]]) -> float:
    """Welch–Satterthwaite: (Σ u²)² / Σ (u⁴ / ν) over the independent parts.

    Parameters
    ----------
    parts : sequence of (variance, degrees of freedom)

    Returns
    -------
    float
        Infinite where no part rests on few readings.

    Examples
    --------
    >>> effective_degrees_of_freedom([(4.0, 3), (1.0, float("inf"))])
    4.6875

    References
    ----------
    JCGM 100:2008 (GUM), G.4.1, equation G.2b.
    """
    total = sum(variance for variance, _ in parts)
    few = sum(variance**2 / nu for variance, nu in parts if np.isfinite(nu))
    return float(total**2 / few) if few > 0 else float("inf")


@dataclass(frozen=True, repr=False)
class Budget(Written):
    """Who owns which share of an uncertainty (GUM, clause 8 and annex H).

    Attributes
    ----------
    names : tuple of str
        The contributors, largest first.
    contributions : numpy.ndarray of shape (n,)
        Standard uncertainty of the result from each, in the result's unit.
    shares : numpy.ndarray of shape (n,)
        Of the variance; they add up to 1.
    value : UFloat
    unit : str
    """

    names: tuple[str, ...]
    contributions: Floats
    shares: Floats
    value: UFloat
    unit: str

    def page(self) -> Page:
        """Contributors, largest first."""
        lines = [
            Line(name, f"{u:.2g}", self.unit, f"{100 * share:.0f} % of the variance")
            for name, u, share in zip(self.names, self.contributions, self.shares)
        ]
        whole = f"{uncertainty(self.value):.2g}"
        lines.append(Line("together", whole, self.unit, "root of the sum of squares"))
        return Page("Uncertainty budget", lines, ["each is one standard uncertainty of the result"])


def budget_of(value: UFloat, unit: str = "") -> Budget:
    """The uncertainty budget of any number, by the tags of its independent parts.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> budget_of(ufloat(1.0, 0.3, tag="weighing") + ufloat(2.0, 0.4, tag="reading")).names
    ('reading', 'weighing')

    References
    ----------
    JCGM 100:2008 (GUM), clause 8 and annex H.
    """
    squares: dict[str, float] = {}
    for part, u in value.error_components().items():
        name = part.tag or "not named"
        squares[name] = squares.get(name, 0.0) + u**2
    ranked = sorted((item for item in squares.items() if item[1] > 0), key=lambda item: -item[1])
    variances = np.array([square for _, square in ranked])
    shares = variances / variances.sum() if variances.size else variances
    return Budget(tuple(name for name, _ in ranked), np.sqrt(variances), shares, value, unit)
