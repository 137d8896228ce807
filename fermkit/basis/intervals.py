"""A value of which only the ends are known."""

import math
from typing import Any, Final

from fermkit.basis.budget import Act

HALF_WIDTH: Final = 1 / math.sqrt(3)
"""Standard uncertainty of a rectangular distribution, in half-widths: JCGM 100:2008 (GUM), 4.3.7."""


def rectangle(low: Any, high: Any, tag: Act) -> Any:
    """A value that may lie anywhere from low to high, each place as likely as another.

    Parameters
    ----------
    low, high : value
        The two ends, in any one unit. Where they meet, the value is that number.
    tag : Act
        What makes it uncertain.

    Returns
    -------
    value
        The middle, with half the width over √3 as its standard uncertainty.

    Examples
    --------
    >>> print(rectangle(5.0, 50.0, Act("aeration", "the aeration")))
    28+/-13

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7.
    """
    from uncertainties import ufloat

    if getattr(high, "nominal_value", high) == getattr(low, "nominal_value", low):
        return low
    return low + (high - low) * ufloat(0.5, 0.5 * HALF_WIDTH, tag)
