"""What yeast usually makes beside ethanol and CO2 when it ferments without air: the one home of these ranges.

They are wide, because they differ with the yeast and its food. Measure the by-products where it matters.
"""

from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import one_of

GLYCEROL_MMOL_PER_G: Final = {"ammonium": (10.5, 2.5), "amino acids": (6.0, 2.0), "mixed": (8.25, 3.2)}
"""Glycerol for each gram of dry yeast grown without air [mmol/g], by what the yeast's nitrogen came as: value and
standard uncertainty.

Ammonium salts: measured 10.1, 10.3, 10.6, 12.1 (Nissen et al., Microbiology 143 (1997) 203, page from memory),
10.9 (Jouhten et al., BMC Syst. Biol. 2 (2008) 60), 7.9 (Celton et al., 2012), 13.0 (Wasylenko & Stephanopoulos, 2014),
12.5 ± 1.3 (Sjöberg et al., doi 10.1016/j.ymben.2024.01.007); each is glycerol flux over growth rate, worked out from
the tables of anaerobic fluxes that come with the yeast-GEM metabolic model.
Amino acids: half as much for each glucose, 0.10 against 0.21 mol/mol, at more yeast (Albers et al., Appl. Environ.
Microbiol. 62 (1996) 3187); the value for each gram is judged from that.
Mixed: one or the other, evenly likely: the mean of the two, and the spread of both together."""

ACIDS_SHARE: Final = (0.015, 0.0087)
"""Share of the sugar's carbon that ends as organic acid [C-mol/C-mol]: 0 to 3 %, taken as rectangular (common
practice). Measured on ammonium: 0.6 to 1.6 % (Nissen et al. 1997), 0.9 % (Celton et al. 2012), from the same tables."""

YEAST_YIELD: Final = (0.075, 0.03)
"""Dry yeast for each gram of hexose fermented without air [g/g]: 0.02 (starved of nitrogen: common practice, no
source) to 0.13, taken as rectangular. Measured: 0.09 to 0.10 (Nissen), 0.09 (Jouhten, Sjöberg, Wasylenko), 0.125
(Celton), growth rate over glucose uptake from the same tables."""

GLYCEROL: Final = Act("usual glycerol", "glycerol not measured")
ACIDS: Final = Act("usual acids", "organic acids not measured")
YEAST: Final = Act("usual yeast", "the usual yeast yield")


def usual_glycerol(nitrogen_source: str = "mixed") -> Any:
    """Glycerol for each gram of dry yeast grown without air [mmol/g], ± its standard uncertainty.

    Parameters
    ----------
    nitrogen_source : "ammonium", "amino acids" or "mixed"
        What the yeast's nitrogen came as: ammonium salts (or urea), amino acids (malt, must, peptone, yeast food), or
        not known.

    Raises
    ------
    InputError
        For another word.

    Examples
    --------
    >>> print(usual_glycerol("ammonium"), usual_glycerol())
    10.5+/-2.5 8.2+/-3.2

    References
    ----------
    See `GLYCEROL_MMOL_PER_G`.
    """
    one_of(nitrogen_source, GLYCEROL_MMOL_PER_G, "nitrogen_source")
    return ufloat(*GLYCEROL_MMOL_PER_G[nitrogen_source], tag=GLYCEROL)


def usual_acids() -> Any:
    """Share of the sugar's carbon that ends as organic acid [C-mol/C-mol], ± its standard uncertainty.

    Examples
    --------
    >>> print(f"{usual_acids():.2u}")
    0.0150+/-0.0087
    """
    return ufloat(*ACIDS_SHARE, tag=ACIDS)


def usual_yeast() -> Any:
    """Dry yeast for each gram of hexose fermented without air [g/g], ± its standard uncertainty.

    Examples
    --------
    >>> print(f"{usual_yeast():.1u}")
    0.07+/-0.03
    """
    return ufloat(*YEAST_YIELD, tag=YEAST)
