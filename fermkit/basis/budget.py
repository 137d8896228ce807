"""Who owns which share of an uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from uncertainties import UFloat

from fermkit.basis.checks import Floats
from fermkit.basis.written import Line, Page, Written, uncertainty


@dataclass(frozen=True)
class Act:
    """What somebody did, measured or assumed, and which leaves a doubt in the numbers that rest on it.

    Parameters
    ----------
    key : str
        Who it is: two acts are one where their keys are equal, whatever they are called.
    phrase : str
        How it is said to a reader, ``"weighing the paste"``; a label only. The key where it is not given.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> weighed = ufloat(53.1, 0.2, tag=Act("paste weighed", "weighing the paste"))
    >>> weighed.tag == Act("paste weighed"), str(weighed.tag)
    (True, 'weighing the paste')
    """

    key: str
    phrase: str = field(default="", compare=False)

    def __str__(self) -> str:
        return self.phrase or self.key


NOT_NAMED: Final = Act("not named")
"""The act behind a ± that came without a tag."""


@dataclass(frozen=True, repr=False)
class Budget(Written):
    """Who owns which share of an uncertainty (GUM, clause 8 and annex H).

    Attributes
    ----------
    acts : tuple of Act
        The contributors, largest first.
    contributions : numpy.ndarray of shape (n,)
        Standard uncertainty of the result from each, in the result's unit.
    shares : numpy.ndarray of shape (n,)
        Of the variance; they add up to 1.
    value : UFloat
    unit : str
    """

    acts: tuple[Act, ...]
    contributions: Floats
    shares: Floats
    value: UFloat
    unit: str

    def page(self) -> Page:
        """Contributors, largest first."""
        lines = [
            Line(str(act), f"{u:.2g}", self.unit, f"{100 * share:.0f} % of the variance")
            for act, u, share in zip(self.acts, self.contributions, self.shares)
        ]
        whole = f"{uncertainty(self.value):.2g}"
        lines.append(Line("together", whole, self.unit, "root of the sum of squares"))
        return Page("Uncertainty budget", lines, ["each is one standard uncertainty of the result"])


def budget_of(value: UFloat, unit: str = "") -> Budget:
    """The uncertainty budget of any number, by the tags of its independent parts.

    A tag is an `Act`, or any word of your own, which then names an act.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> budget = budget_of(ufloat(1.0, 0.3, tag="weighing") + ufloat(2.0, 0.4, tag="reading"))
    >>> [str(act) for act in budget.acts]
    ['reading', 'weighing']

    References
    ----------
    JCGM 100:2008 (GUM), clause 8 and annex H.
    """
    squares: dict[Act, float] = {}
    for part, u in value.error_components().items():
        act = part.tag if isinstance(part.tag, Act) else Act(str(part.tag)) if part.tag else NOT_NAMED
        squares[act] = squares.get(act, 0.0) + u**2
    ranked = sorted((item for item in squares.items() if item[1] > 0), key=lambda item: -item[1])
    variances = np.array([square for _, square in ranked])
    shares = variances / variances.sum() if variances.size else variances
    return Budget(tuple(act for act, _ in ranked), np.sqrt(variances), shares, value, unit)


def covariance_of(values: Sequence[UFloat]) -> Floats:
    """Covariance of amounts that share causes, shape (n, n).

    The causes are taken in the order in which they are met. `uncertainties.covariance_matrix` sums them in the order
    of their places in memory, so that its last digits differ from one run of the program to the next.
    """
    causes = list(dict.fromkeys(cause for value in values for cause in value.derivatives))
    place = {cause: k for k, cause in enumerate(causes)}
    moved = np.zeros((len(values), len(causes)))
    for row, value in zip(moved, values):
        for cause, slope in value.derivatives.items():
            row[place[cause]] = slope * cause.std_dev
    return np.asarray(moved @ moved.T)
