"""The smallest contents that a calibration can tell from a blank, see, and measure."""

from dataclasses import dataclass

import numpy as np
from scipy import special
from scipy.optimize import brentq

from fermkit.basis.statistics import student
from fermkit.basis.written import Line, Page, Written
from fermkit.calibration.response import FittedCurve


@dataclass(frozen=True, repr=False)
class Limits(Written):
    """What is too little to tell, to see, and to measure.

    Attributes
    ----------
    decision : float
        A sample that reads above this is not a blank (5 % false alarms): the critical value of ISO 11843,
        the 'Nachweisgrenze' of DIN 32645.
    detection : float
        A content that passes the decision limit 95 times in 100: the minimum detectable value of ISO 11843.
    quantification : float
        Where the half-width of the 95 % interval is a third of the content: DIN 32645 with k = 3. NaN where
        no content within three times the range gets there.
    replicates : int
        Readings of the sample whose mean is judged.
    unit : str
    """

    decision: float
    detection: float
    quantification: float
    replicates: int
    unit: str

    def page(self) -> Page:
        """The limits as a page."""
        lines = [
            Line("decision limit", self.decision, self.unit, "above it, not a blank (5 % false alarms), ISO 11843-2"),
            Line("limit of detection", self.detection, self.unit, "seen 95 times in 100, ISO 11843-2"),
            Line(
                "limit of quantification",
                self.quantification,
                self.unit,
                "95 % interval of ± a third, DIN 32645, k = 3",
            ),
        ]
        said = [] if np.isfinite(self.quantification) else ["no content reaches a 95 % interval of ± a third"]
        return Page(f"Limits, for the mean of {self.replicates} readings", lines, said)


@np.errstate(all="ignore")
def limits_of(fitted: FittedCurve, replicates: int = 1) -> Limits:
    """Decision, detection and quantification limits of a calibration.

    Notes
    -----
    With u0 the standard uncertainty of (mean of the readings − curve) at zero content:
    decision = inverse(curve(0) + t·u0), t one-sided 95 %; detection = inverse(curve(0) + δ·u0), δ the
    non-centrality that leaves 5 % below t; quantification solves x = 3·t·u(x), t two-sided. Where the
    scatter grows with the signal, it is taken at the limit itself.

    References
    ----------
    ISO 11843-2:2000, clause 5; ISO 11843-5 for curves; DIN 32645:2008, 6.3; Currie 1995, Pure Appl. Chem.
    67, 1699 (formulas from memory, held to their definition by simulation).
    """
    nu = fitted.degrees_of_freedom
    sign = _sign(fitted)
    curve = float(fitted.curve_variance(0.0))
    t = student(nu, 0.90)
    shift = float(special.nctdtrinc(nu, 0.05, t)) - t if np.isfinite(nu) else t
    decision = decision_limit(fitted, replicates)
    critical = seen = float(fitted.signal(decision))
    for _ in range(30):
        seen = critical + sign * shift * float(np.sqrt(fitted.variance(np.asarray(seen)) / replicates + curve))
    return Limits(
        decision, float(fitted.inverse(seen)), _quantification(fitted, replicates), replicates, fitted.content_unit
    )


def _sign(fitted: FittedCurve) -> float:
    return 1.0 if fitted.signal(fitted.range[1]) > fitted.signal(0.0) else -1.0


def decision_limit(fitted: FittedCurve, replicates: int) -> float:
    """The content above which the mean of so many readings is no blank; see `limits_of`."""
    blank = fitted.signal(0.0)
    u = np.sqrt(fitted.variance(np.asarray(blank)) / replicates + fitted.curve_variance(0.0))
    return float(fitted.inverse(blank + _sign(fitted) * student(fitted.degrees_of_freedom, 0.90) * u))


def _quantification(fitted: FittedCurve, replicates: int, k: float = 3.0) -> float:
    """The content that is k times the half-width of its own 95 % interval."""
    t = student(fitted.degrees_of_freedom)

    def excess(x: float | np.ndarray) -> np.ndarray:
        variance = fitted.variance(fitted.signal(x)) / replicates + fitted.curve_variance(x)
        return np.asarray(x * np.abs(fitted.slope(x)) - k * t * np.sqrt(variance))

    grid = fitted.range[1] * np.geomspace(1e-4, 3.0, 200)
    above = np.flatnonzero(excess(grid) > 0)
    if above.size == 0:
        return float("nan")
    first = int(above[0])
    return float(grid[0]) if first == 0 else float(brentq(excess, grid[first - 1], grid[first]))
