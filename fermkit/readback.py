"""From signals of a sample back to its content, with an interval that counts everything."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special
from scipy.optimize import brentq, least_squares
from uncertainties import UFloat, ufloat

from fermkit.checks import between, one_of
from fermkit.response import FittedCurve
from fermkit.written import Line, Page, Written, nominal, plus_minus, uncertainty

Floats = NDArray[np.float64]

SCATTER = "scatter of the standards' signals"
STANDARDS = "making up the standards"
REPLICATES = "replicate signals of the sample"
PIPETTING = "pipetting the dilution"
TEMPERATURE = "temperature of the sample against the standards"


def student(degrees_of_freedom: float, level: float = 0.95) -> float:
    """Two-sided Student factor; the normal one for infinitely many degrees of freedom.

    Examples
    --------
    >>> round(student(4), 5), round(student(float("inf")), 6)
    (2.77645, 1.959964)
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
    >>> round(effective_degrees_of_freedom([(4.0, 3), (1.0, float("inf"))]), 4)
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
            Line(name, f"{u:.3g}", self.unit, f"{100 * share:.0f} % of the variance")
            for name, u, share in zip(self.names, self.contributions, self.shares)
        ]
        lines.append(Line("together", f"{uncertainty(self.value):.3g}", self.unit, "square root of the sum of squares"))
        return Page("Uncertainty budget", lines, ["each is one standard uncertainty of the result"])


def budget_of(value: UFloat, unit: str = "") -> Budget:
    """The uncertainty budget of any number, by the tags of its independent parts.

    Examples
    --------
    >>> budget_of(ufloat(1.0, 0.3, tag="weighing") + ufloat(2.0, 0.4, tag="reading")).names
    ('reading', 'weighing')
    """
    squares: dict[str, float] = {}
    for part, u in value.error_components().items():
        name = part.tag or "not named"
        squares[name] = squares.get(name, 0.0) + u**2
    ranked = sorted((item for item in squares.items() if item[1] > 0), key=lambda item: -item[1])
    variances = np.array([square for _, square in ranked])
    return Budget(
        tuple(name for name, _ in ranked), np.sqrt(variances),
        variances / variances.sum() if variances.size else variances, value, unit,
    )


@dataclass(frozen=True, repr=False)
class Reading(Written):
    """One sample, read back.

    Attributes
    ----------
    value : UFloat
        Content of the undiluted sample [the standards' unit], correlated with every other reading of the
        same calibration and with the caller's own dilution and standards.
    diluted : float
        Content of what the sensor saw.
    signals : numpy.ndarray
        The replicates as given; `signal` is their mean, `u_signal` its standard uncertainty [signal unit].
    factor : UFloat
        What the content was multiplied by: dilution and corrections.
    in_range : bool
        Whether `diluted` lies between the lowest and the highest standard.
    degrees_of_freedom : float
        Effective (Welch–Satterthwaite).
    """

    value: UFloat
    diluted: float
    signals: Floats
    signal: float
    u_signal: float
    signal_degrees_of_freedom: float
    factor: float | UFloat
    in_range: bool
    degrees_of_freedom: float
    decision_limit: float
    fitted: FittedCurve = field(compare=False)
    range: tuple[float, float] = (0.0, 0.0)
    unit: str = "% vol"
    remarks: tuple[str, ...] = ()

    def interval(self, level: float = 0.95, *, method: str = "best") -> tuple[float, float]:
        """Where the content lies, at the given level of confidence.

        Parameters
        ----------
        level : float
            0.95 for 95 %.
        method : "best", "fieller", "profile", "student" or "monte carlo"
            "fieller": all contents whose predicted signal agrees with the one read (Fieller 1954; exact for a
            straight line). "profile": the same, with the curve refitted at each candidate content. "student":
            value ± t·u. "monte carlo": draws (JCGM 101). "best" takes Fieller for curves linear in
            their parameters and the profile for the others.

        Returns
        -------
        (low, high)
            Infinite where these data set no limit on that side.

        References
        ----------
        Fieller 1954, J. R. Stat. Soc. B 16, 175; Venzon & Moolgavkar 1988, Appl. Stat. 37, 87;
        JCGM 101:2008; Student's factor with JCGM 100:2008 G.4.
        """
        between(level, 0.5, 0.9999, "level", do="give 0.95 for 95 %")
        one_of(method, ("best", "fieller", "profile", "student", "monte carlo"), "method")
        if method == "best":
            method = "fieller" if self.fitted.curve.linear else "profile"
        t = student(self.degrees_of_freedom, level)
        if method == "student":
            half = t * uncertainty(self.value)
            return nominal(self.value) - half, nominal(self.value) + half
        if method == "monte carlo":
            return self._monte_carlo(level)
        return self._inverted(self._misfit if method == "fieller" else self._profile, t**2)

    def budget(self) -> Budget:
        """Who owns which share of the uncertainty."""
        return budget_of(self.value, self.unit)

    def page(self) -> Page:
        """The reading as a page."""
        limits = self.interval()
        lines = [
            Line("content of the sample", self.value, self.unit, limits=limits),
            Line("as the sensor saw it", self.diluted, self.unit, f"times {plus_minus(self.factor)} for the sample"
                 if nominal(self.factor) != 1 else ""),
            Line("signal", ufloat(self.signal, self.u_signal), "", f"mean of {self.signals.size}"),
            Line("degrees of freedom", f"{self.degrees_of_freedom:.1f}", "", "effective, Welch–Satterthwaite"),
        ]
        return Page("Content by calibration curve", lines, self.remarks, [self.budget().page()])

    def _misfit(self, content: float) -> float:
        """(signal read − signal predicted)² over its variance, at a candidate content."""
        factor, relative = nominal(self.factor), uncertainty(self.factor) / nominal(self.factor)
        x = np.asarray(content / factor)
        predicted, slope = self.fitted.signal(x), self.fitted.slope(x)
        variance = self.u_signal**2 + self.fitted.curve_variance(x)
        if relative > 0:
            variance = variance + (slope * x * relative) ** 2
        return float((self.signal - predicted) ** 2 / variance)

    def _profile(self, content: float) -> float:
        """The least that the standards' and the sample's misfit rise by, if the content were this."""
        fitted, factor = self.fitted, nominal(self.factor)
        relative = uncertainty(self.factor) / factor
        best = fitted.misfits(fitted.values)

        def misfits(z: Floats) -> Floats:
            x = np.asarray(content / (factor * (1 + relative * z[-1])))
            off = (self.signal - float(fitted.curve.signal(x, z[:-1]))) / self.u_signal
            return np.concatenate([fitted.misfits(z[:-1]), [off, z[-1]]])

        found = least_squares(misfits, np.append(fitted.values, 0.0), method="lm", x_scale="jac")
        return float(2 * found.cost - best @ best)

    def _inverted(self, misfit: Any, threshold: float) -> tuple[float, float]:
        """Walk out from the value until the misfit passes the threshold, then close in."""
        centre, u = nominal(self.value), uncertainty(self.value)
        ends = []
        for side in (-1.0, 1.0):
            inner, end = centre, side * float("inf")
            for step in u * 1.5 ** np.arange(1, 20):
                outer = centre + side * step
                if not self.fitted.curve.linear and outer <= 0:
                    outer = 1e-9 * centre
                excess = misfit(outer) - threshold
                if np.isfinite(excess) and excess > 0:
                    end = brentq(lambda c: misfit(c) - threshold, inner, outer, xtol=1e-10 * u, rtol=1e-12)
                    break
                if not self.fitted.curve.linear and outer <= 1e-9 * centre:
                    end = 0.0
                    break
                inner = outer
            ends.append(float(end))
        return ends[0], ends[1]

    def _monte_carlo(self, level: float, draws: int = 200_000, seed: int = 20_260) -> tuple[float, float]:
        """Draws of curve, signal and factor; scatter estimated from few readings is drawn too."""
        rng = np.random.default_rng(seed)
        fitted, nu = self.fitted, self.fitted.degrees_of_freedom
        swell = np.sqrt(nu / rng.chisquare(nu, draws)) if np.isfinite(nu) else np.ones(draws)
        own = self.signal_degrees_of_freedom
        own_swell = swell if own == nu else np.sqrt(own / rng.chisquare(own, draws)) if np.isfinite(own) else 1.0
        size = fitted.values.size
        shifts = rng.multivariate_normal(np.zeros(size), fitted.scatter_covariance, draws, method="eigh")
        known = rng.multivariate_normal(
            np.zeros(size), fitted.covariance - fitted.scatter_covariance, draws, method="eigh", check_valid="ignore"
        )
        p = (fitted.values + shifts * swell[:, None] + known).T
        signal = self.signal + self.u_signal * own_swell * rng.standard_normal(draws)
        factor = nominal(self.factor) + uncertainty(self.factor) * rng.standard_normal(draws)
        content = factor * fitted.curve.inverse(signal, p)
        content = np.where(np.isnan(content), np.inf, content)
        low, high = np.quantile(content, [0.5 - level / 2, 0.5 + level / 2], method="nearest")
        return float(low), float(high)


def dilution_factor(steps: Sequence[Mapping[str, Any]]) -> UFloat:
    """The factor of a dilution, or of several in a row, with its uncertainty.

    Parameters
    ----------
    steps : sequence of mappings
        Each with ``sample_mL`` and ``total_mL``; plain numbers or ufloats.

    Returns
    -------
    UFloat
        How many times stronger the sample is than what the sensor sees.

    Notes
    -----
    factor = ∏ total / sample. Pipettes used twice should be given as the same ufloat twice: their common error
    then counts twice, as it does in the glass.

    Examples
    --------
    >>> print(dilution_factor([{"sample_mL": ufloat(5.0, 0.02), "total_mL": ufloat(50.0, 0.06)}]))
    10.00+/-0.04

    References
    ----------
    Eurachem/CITAC Guide CG 4, QUAM:2012, examples A1 and A2 (volumes).
    """
    factor: UFloat = 1.0
    for step in steps:
        factor = factor * step["total_mL"] / step["sample_mL"]
    return factor


def mean_signal(signals: ArrayLike, fitted: FittedCurve, scatter: str) -> tuple[Floats, float, float, float]:
    """Replicates, their mean, its standard uncertainty and degrees of freedom.

    `scatter` says whose: the "calibration"'s, the "replicates"' own, or both "pooled".
    """
    from fermkit.checks import numbers

    values = numbers(np.atleast_1d(np.asarray(signals, dtype=object)), "signal of the sample")
    mean, count = float(values.mean()), values.size
    variance, nu = float(fitted.variance(np.asarray(mean))), fitted.degrees_of_freedom
    own = float(values.var(ddof=1)) if count > 1 else 0.0
    if scatter == "replicates" and count > 1:
        variance, nu = own, float(count - 1)
    elif scatter == "pooled" and count > 1 and np.isfinite(nu):
        variance, nu = (nu * variance + (count - 1) * own) / (nu + count - 1), nu + count - 1
    return values, mean, float(np.sqrt(variance / count)), nu


__all__ = ["Budget", "Reading", "budget_of", "dilution_factor", "student"]
