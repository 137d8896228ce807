"""Optical density against dry weight: a line of one's own, and where it bends."""

from dataclasses import dataclass
from functools import cached_property
from typing import Final

from numpy.typing import ArrayLike

from fermkit.basis.written import Line, Number, Page, Written, nominal
from fermkit.calibration.calibrate import Calibration, fit_calibration
from fermkit.calibration.readback import Reading

TOO_LITTLE: Final = 0.10
"""From where the bend hides so much of the yeast, a reading is to be diluted [-]: common practice, no source."""


@dataclass(frozen=True, repr=False)
class DryWeightLine(Written):
    """Optical density of yeast whose dry weight is known.

    Attributes
    ----------
    standards : Calibration
        A straight line, or a quadratic where the standards bend; content in g/L.
    """

    standards: Calibration

    @cached_property
    def bends_at(self) -> tuple[Number, Number] | None:
        """Dry yeast [g/L] and optical density from which a tenth goes unseen; None where no bend is shown.

        With signal = a + b x + c x² a share s of what lies above the blank is missing at x = −s b/c.
        """
        if self.standards.curve != "quadratic":
            return None
        a, b, c = (self.standards.parameters[name] for name in ("intercept", "slope", "bend"))
        x = -TOO_LITTLE * b / c
        return (x, a + b * x + c * x**2) if nominal(x) > 0 else None

    def read(self, reading: ArrayLike, *, dilution: Number = 1.0) -> Reading:
        """Dry yeast of a sample [g/L] from its optical density, diluted so many times; refused beyond the standards.

        Examples
        --------
        >>> line = dry_weight_line([0, 0.1, 0.2, 0.3, 0.4, 0.5], [0.003, 0.162, 0.321, 0.478, 0.642, 0.799])
        >>> print(line.read(0.40, dilution=10.0).value)
        2.495+/-0.011
        """
        return self.standards.read(reading, dilution=dilution)

    def page(self) -> Page:
        """Slope, blank, and where it bends."""
        p, (low, high) = self.standards.parameters, self.standards.range
        lines = [
            Line("optical density for each g/L", p["slope"], "L/g", "at the start of the curve"),
            Line("optical density without yeast", p["intercept"]),
            Line("good between", f"{low:g} and {high:g}", "g/L", "the standards"),
        ]
        said = [self.standards.linearity.verdict]
        if self.bends_at is not None:
            grams, shown = self.bends_at
            lines.append(Line("a tenth goes unseen from", shown, "", "optical density: dilute before it"))
            lines.append(Line("that is", grams, "g/L"))
            said.append("The curve is followed through its bend; a diluted reading is the better one.")
        said.append(
            "The line holds for this yeast, this liquid and this instrument: other cells, a dark broth, another light "
            "path or colour of light make another line."
        )
        return Page("Optical density against dry weight", lines, said)


def dry_weight_line(dry_g_L: ArrayLike, reading: ArrayLike) -> DryWeightLine:
    """A line of one's own from optical density to dry yeast.

    Parameters
    ----------
    dry_g_L : array-like of shape (n,)
        Dry yeast in each standard, from a sample that was dried and weighed, diluted in its own clear liquid [g/L];
        that liquid alone is 0.
    reading : array-like of shape (n,)
        Optical density of each [-].

    Returns
    -------
    DryWeightLine

    Raises
    ------
    InputError, FitError
        As `fit_calibration`: three contents at least.

    Notes
    -----
    A straight line; where Mandel's test shows a bend, a quadratic. Light that one cell scattered away is scattered back
    by another, so that dense yeast reads too little.

    Examples
    --------
    >>> print(dry_weight_line([0, 0.2, 0.5, 1, 2, 3], [0.01, 0.30, 0.72, 1.33, 2.25, 2.79]).bends_at[1])
    1.063+/-0.005

    References
    ----------
    Koch 1970, Anal. Biochem. 38, 252 (turbidity of dense suspensions, from memory); Mandel's test: ISO 8466-1.
    """
    straight = fit_calibration(dry_g_L, reading, content_unit="g/L")
    if straight.linearity.passed is not False:
        return DryWeightLine(straight)
    return DryWeightLine(fit_calibration(dry_g_L, reading, curve="quadratic", content_unit="g/L"))
