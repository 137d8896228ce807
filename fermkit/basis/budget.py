"""Who owns which share of an uncertainty."""

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from fermkit.basis.checks import Floats
from fermkit.basis.written import Line, Page, Written, uncertainty


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
