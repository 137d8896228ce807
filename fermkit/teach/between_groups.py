"""One estimate from many groups, each with its own uncertainty, and how much the groups differ in truth."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from fermkit.basis.checks import Floats, numbers
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, in_words


@dataclass(frozen=True, repr=False)
class PooledEstimate(Written):
    """One estimate from many groups, each with its own uncertainty.

    Attributes
    ----------
    name, unit : str
    value : ufloat
        With the standard uncertainty of Hartung and Knapp.
    interval : (float, float)
        95 %, for the mean of all groups.
    next_group : (float, float)
        95 %, for the true value of one more group.
    between_sd : float
        Standard deviation of the groups' true values (τ, by restricted maximum likelihood).
    heterogeneity, p_value : float
        Cochran's Q, and the chance of one as large were all groups alike.
    count : int
    """

    name: str
    unit: str
    value: Any
    interval: tuple[float, float]
    next_group: tuple[float, float]
    between_sd: float
    heterogeneity: float
    p_value: float
    count: int

    def page(self) -> Page:
        """The pooled estimate."""
        alike = (
            "groups differ by more than their own ± explains" if self.p_value < 0.05 else "groups agree within their ±"
        )
        lines = [
            Line(self.name, self.value, self.unit, f"{self.count} groups", self.interval),
            Line(
                "between groups", f"{self.between_sd:.3g}", self.unit, "standard deviation of their true values (REML)"
            ),
            Line("one more group would lie", "", "", "", self.next_group),
        ]
        said = f"The {alike} (Q = {self.heterogeneity:.1f}, {in_words(self.p_value)})."
        return Page("Pooled estimate", lines, [said])


def pooled(values: ArrayLike, u: ArrayLike, name: str = "pooled value", unit: str = "") -> PooledEstimate:
    """One estimate from many groups' estimates, with the variance between groups.

    Parameters
    ----------
    values, u : array-like of shape (k,)
        Each group's estimate and its standard uncertainty; three or more.
    name, unit : str

    Returns
    -------
    PooledEstimate

    Notes
    -----
    yᵢ = μ + group + error, variances τ² and uᵢ². τ² by restricted maximum likelihood; weights 1/(uᵢ² + τ²);
    interval by Student's t on k − 1 degrees of freedom with Hartung and Knapp's variance.

    Examples
    --------
    >>> found = pooled([4.1, 3.6, 5.0, 4.4], [0.2, 0.3, 0.2, 0.4], "lag", "h")
    >>> print(found.value)
    4.29+/-0.30

    References
    ----------
    DerSimonian & Laird 1986, Control. Clin. Trials 7, 177 (the model, Q); Viechtbauer 2005, J. Educ. Behav. Stat.
    30, 261 (REML); Hartung & Knapp 2001, Stat. Med. 20, 3875.
    """
    from uncertainties import ufloat

    y, width = numbers(values, "estimates", at_least=3), numbers(u, "uncertainties", at_least=3)
    if y.size != width.size or not (width > 0).all():
        raise InputError(
            f"{y.size} estimates with {int((width > 0).sum())} uncertainties above zero",
            "one for each",
            "leave out the others",
        )
    q, scale = _misfit(y, width, 0.0), width**2
    tau2 = _between(y, scale)
    w = 1 / (scale + tau2)
    mean = float(w @ y / w.sum())
    nu = y.size - 1
    var = float(w @ (y - mean) ** 2 / (nu * w.sum()))
    t = float(special.stdtrit(nu, 0.975))
    ahead = float(special.stdtrit(max(nu - 1, 1), 0.975)) * float(np.sqrt(tau2 + var))
    half = t * var**0.5
    value = ufloat(mean, var**0.5, tag=f"pooling of the groups' {name}")
    return PooledEstimate(
        name,
        unit,
        value,
        (mean - half, mean + half),
        (mean - ahead, mean + ahead),
        tau2**0.5,
        q,
        float(special.chdtrc(nu, q)),
        y.size,
    )


def _misfit(y: Floats, u: Floats, tau2: float) -> float:
    w = 1 / (u**2 + tau2)
    return float(w @ (y - w @ y / w.sum()) ** 2)


def _between(y: Floats, scale: Floats) -> float:
    """τ² that makes the restricted likelihood largest: a bounded search, so that it always ends."""
    from scipy.optimize import minimize_scalar

    def cost(tau2: float) -> float:
        w = 1 / (scale + tau2)
        mean = w @ y / w.sum()
        return float(-np.log(w).sum() + np.log(w.sum()) + w @ (y - mean) ** 2)

    top = 10 * float(y.var(ddof=1)) + 1e-300
    found = minimize_scalar(lambda part: cost(part * top), bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-9})
    return 0.0 if cost(0.0) <= found.fun else float(found.x) * top
