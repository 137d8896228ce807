"""What came out: net yeast, recovered fractions, protein.

Every answer is worked out on the caller's own numbers with ±, so that a weighing shared by two
results stays shared, up to the yield.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import not_negative, one_of, positive
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Line, Number, Page, Written, nominal, percent, plus_minus, uncertainty

NITROGEN_FACTORS: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "general": (6.25, (6.25 - 5.6) / 3**0.5),
        "yeast, true protein": (5.65, 0.15 / 3**0.5),
    }
)
"""Grams of protein per gram of nitrogen, with ±. Crude protein is nitrogen × 6.25 by agreement (Jones, USDA Circular
183 (1931); FAO Food and Nutrition Paper 77 (2003), ch. 2; from memory); what stands behind it in yeast, nucleic acids
and all, is anything from 5.6 to 6.25, so the ± is the root mean square distance of that rectangle from 6.25. Yeast
without its nucleic acids 5.5 to 5.8 (from memory)."""

PROTEIN_FACTOR: Final = Act("nitrogen factor", "the nitrogen-to-protein factor")
SPLIT: Final = Act("carried solids split", "how carried solids split between extract and debris")

DETECTED: Final = 3.605
"""How many standard uncertainties a gap must have to be found in 19 of 20 runs by a test that is wrong
once in 20: 1.960 + 1.645 (normal quantiles; Currie, Anal. Chem. 40 (1968) 586, for the idea)."""


@dataclass(frozen=True, repr=False)
class NetYeast(Written):
    """Dry yeast in a product, less what is not yeast, less what was put in; all g of dry matter."""

    product_dry_g: Number
    non_yeast_solids_g: Number
    inoculum_dry_g: Number

    @property
    def yeast_g(self) -> Any:
        """Dry yeast in the product [g]."""
        return self.product_dry_g - self.non_yeast_solids_g

    @property
    def net_g(self) -> Any:
        """Dry yeast grown [g]: net of the inoculum."""
        return self.yeast_g - self.inoculum_dry_g

    @property
    def growth_shown(self) -> bool:
        """Whether the net yeast is above zero beyond its error (one-sided, 95 %)."""
        return nominal(self.net_g) > 1.645 * uncertainty(self.net_g)

    def page(self) -> Page:
        """Lines for the lab book and the verdict."""
        verdict = (
            "Growth is shown: the net yeast is above zero beyond its error (one-sided, 95 %)."
            if self.growth_shown
            else "No growth shown: the harvest is within error of what was put in."
        )
        return Page(
            "Yeast grown, net",
            (
                Line("dry product", self.product_dry_g, "g"),
                Line("solids that are not yeast", self.non_yeast_solids_g, "g", "carried over from the feed"),
                Line("dry yeast", self.yeast_g, "g"),
                Line("inoculum, dry", self.inoculum_dry_g, "g"),
                Line("net dry yeast", self.net_g, "g"),
            ),
            (verdict,),
        )


def net_yeast(product_dry_g: Number, non_yeast_solids_g: Number = 0.0, inoculum_dry_g: Number = 0.0) -> NetYeast:
    """Dry yeast grown, from the dry product.

    Parameters
    ----------
    product_dry_g : float or ufloat
        Dry matter of the harvested paste [g].
    non_yeast_solids_g : float or ufloat
        Of it, solids of the feed that are not yeast [g]; see `carried_solids`.
    inoculum_dry_g : float or ufloat
        Dry matter of the yeast put in [g].

    Returns
    -------
    NetYeast

    Notes
    -----
    net = product − non-yeast solids − inoculum.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> net_yeast(ufloat(9.0, 0.2), ufloat(1.5, 0.3), ufloat(4.7, 0.1)).net_g
    2.8+/-0.374

    References
    ----------
    Mass balance of dry matter.
    """
    positive(nominal(product_dry_g), "dry product [g]")
    not_negative(nominal(non_yeast_solids_g), "solids that are not yeast [g]")
    not_negative(nominal(inoculum_dry_g), "dry inoculum [g]")
    return NetYeast(product_dry_g, non_yeast_solids_g, inoculum_dry_g)


def carried_solids(dissolved_g: Number, broth_liquid_g: Number, paste_liquid_g: Number) -> Any:
    """Dissolved solids that stay in the liquid of an unwashed paste.

    Parameters
    ----------
    dissolved_g : float or ufloat
        All that is dissolved in the broth and does not evaporate [g]: unfermentable solids of the feed, sugar that is
        left, glycerol that was made.
    broth_liquid_g : float or ufloat
        Liquid in the vessel at harvest [g].
    paste_liquid_g : float or ufloat
        Liquid held in the harvested paste [g]: its moisture times its weight.

    Returns
    -------
    float or ufloat
        [g]. Solids that settle with the yeast (mud, scale) are not in it: add them.

    Notes
    -----
    The dissolved solids are spread evenly: carried = dissolved × paste liquid/broth liquid.

    Examples
    --------
    >>> carried_solids(24.0, 1000.0, 60.0)
    1.44

    References
    ----------
    Mass balance.
    """
    not_negative(nominal(dissolved_g), "dissolved solids [g]")
    positive(nominal(broth_liquid_g), "liquid in the vessel [g]")
    if not 0 <= nominal(paste_liquid_g) <= nominal(broth_liquid_g):
        raise InputError(
            f"{nominal(paste_liquid_g):g} g liquid in the paste of {nominal(broth_liquid_g):g} g in all",
            "no more liquid in the paste than in the vessel",
            "check which weight is which",
        )
    return dissolved_g * (paste_liquid_g / broth_liquid_g)


class Adding(StrEnum):
    """Whether the fractions add up to what was opened."""

    NO_U = "only a ± on the weights could say whether the gap matters"
    ADDS_UP = "the fractions add up within their error"
    MISSING = "more is missing than weighing error explains; find where it went"
    TOO_MUCH = "more came out than went in: is the dry matter really dry, was salt added and not counted?"


@dataclass(frozen=True, repr=False)
class Recovery(Written):
    """Where the dry matter went when yeast was split into extract and debris; all g of dry matter."""

    dry_yeast_g: Number
    non_yeast_solids_g: Number
    added_g: Number
    extract_g: Number
    debris_g: Number
    losses_g: Number
    inoculum_g: Number
    net_extract_g: Number

    @property
    def in_g(self) -> Any:
        """All dry matter that went in [g]."""
        return self.dry_yeast_g + self.non_yeast_solids_g + self.added_g

    @property
    def missing_g(self) -> Any:
        """What nobody weighed [g]: in − extract − debris − losses; negative: more out than in."""
        return self.in_g - self.extract_g - self.debris_g - self.losses_g

    @property
    def net_debris_g(self) -> Any:
        """Debris of the yeast that grew [g]: what is left of it beside the net extract, without the feed's solids."""
        both = (self.extract_g - self.added_g + self.debris_g - self.non_yeast_solids_g) * self._grown
        return both - self.net_extract_g

    @property
    def _grown(self) -> Any:
        return 1.0 - self.inoculum_g / self.dry_yeast_g

    @property
    def extract_share(self) -> Any:
        """Extract per dry matter put in [g/g]."""
        return self.extract_g / self.in_g

    @property
    def debris_share(self) -> Any:
        """Debris per dry matter put in [g/g]."""
        return self.debris_g / self.in_g

    @property
    def recovered_share(self) -> Any:
        """Extract and debris per dry matter put in [g/g]."""
        return (self.extract_g + self.debris_g) / self.in_g

    @property
    def verdict(self) -> Adding:
        """Whether the fractions add up."""
        gap, u = nominal(self.missing_g), uncertainty(self.missing_g)
        if u == 0:
            return Adding.NO_U
        return Adding.ADDS_UP if abs(gap) <= 1.96 * u else Adding.MISSING if gap > 0 else Adding.TOO_MUCH

    def page(self) -> Page:
        """Lines for the lab book and the verdict."""
        u, verdict = uncertainty(self.missing_g), self.verdict
        said = [verdict[:1].upper() + verdict[1:] + ("" if verdict is Adding.TOO_MUCH else ".")]
        if u:
            said.append(f"A gap of {plus_minus(DETECTED * u, 'g')} is found 19 times in 20, a smaller one less often.")
        said.append(
            "Net extract: solids carried along from the feed dissolve, so between their even share and all of them are "
            "taken to be in the extract; the inoculum opens like the yeast that grew (assumptions, in the ±)."
        )
        return Page(
            "Recovery of dry matter",
            (
                Line("dry yeast in", self.dry_yeast_g, "g"),
                Line("solids that are not yeast, in", self.non_yeast_solids_g, "g"),
                Line("added (salt …)", self.added_g, "g"),
                Line("extract", self.extract_g, "g", percent(self.extract_share) + " of all in"),
                Line("debris", self.debris_g, "g", percent(self.debris_share) + " of all in"),
                Line("losses weighed", self.losses_g, "g"),
                Line("missing", self.missing_g, "g"),
                Line("extract, net", self.net_extract_g, "g", "of yeast that grew, without salt and feed solids"),
                Line("debris, net", self.net_debris_g, "g", "of yeast that grew, without feed solids"),
            ),
            (*said, *cautions_for("eating").sentences()),
        )


def recovery(
    *,
    dry_yeast_g: Number,
    extract_g: Number,
    debris_g: Number,
    non_yeast_solids_g: Number = 0.0,
    added_g: Number = 0.0,
    losses_g: Number = 0.0,
    inoculum_g: Number = 0.0,
) -> Recovery:
    """Whether extract and debris add up to the yeast that was opened, and how much of the extract is new yeast.

    Parameters
    ----------
    dry_yeast_g, non_yeast_solids_g, added_g : float or ufloat
        Dry matter in [g]: yeast, what came with it, what was added (salt).
    extract_g, debris_g, losses_g : float or ufloat
        Dry matter out [g]: soluble, insoluble, and losses that were weighed (samples, pots).
    inoculum_g : float or ufloat
        How much of the dry yeast was put in rather than grown [g].

    Returns
    -------
    Recovery

    Notes
    -----
    missing = yeast + non-yeast solids + added − extract − debris − losses.
    Salt that was added is taken to be in the extract; the net extract as in `net_extract`.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> out = recovery(dry_yeast_g=ufloat(20, 0.4), extract_g=ufloat(11.6, 0.3), debris_g=ufloat(7.2, 0.2),
    ...                non_yeast_solids_g=ufloat(2.0, 0.5), inoculum_g=ufloat(4.0, 0.1))
    >>> print(out.missing_g, out.net_extract_g)
    3.2+/-0.7 8.1+/-0.5

    References
    ----------
    Mass balance of dry matter.
    """
    positive(nominal(dry_yeast_g), "dry yeast [g]")
    for value, name in (
        (extract_g, "extract [g dry]"),
        (debris_g, "debris [g dry]"),
        (non_yeast_solids_g, "solids that are not yeast [g]"),
        (added_g, "added [g dry]"),
        (losses_g, "losses [g dry]"),
        (inoculum_g, "inoculum [g dry]"),
    ):
        not_negative(nominal(value), name)
    net = net_extract(extract_g - added_g, dry_yeast_g, non_yeast_solids_g, inoculum_g)
    return Recovery(dry_yeast_g, non_yeast_solids_g, added_g, extract_g, debris_g, losses_g, inoculum_g, net)


def net_extract(extract_g: Number, dry_yeast_g: Number, non_yeast_solids_g: Number, inoculum_g: Number) -> Any:
    """Extract of the yeast that grew: without the feed's solids in it and without the inoculum's share.

    Parameters
    ----------
    extract_g : float or ufloat
        As weighed dry, added salt taken off [g].
    dry_yeast_g, non_yeast_solids_g : float or ufloat
        Dry matter that was opened [g]: yeast, and solids of the feed that came with it.
    inoculum_g : float or ufloat
        How much of the dry yeast was put in rather than grown [g].

    Returns
    -------
    ufloat
        [g]

    Notes
    -----
    (extract − σ·solids)·(1 − inoculum/yeast), with σ anywhere from extract/(yeast + solids), the even share, to 1,
    since what a feed leaves in a paste is mostly salts and sugars that dissolve (an assumption, no source). The
    inoculum is taken to open like the yeast that grew.

    Examples
    --------
    >>> print(net_extract(11.6, 20.0, 2.0, 4.0))
    8.06+/-0.22

    References
    ----------
    Mass balance of dry matter.
    """
    even = min(max(nominal(extract_g), 0.0) / nominal(dry_yeast_g + non_yeast_solids_g), 1.0)
    return (extract_g - rectangle(even, 1.0, SPLIT) * non_yeast_solids_g) * (1.0 - inoculum_g / dry_yeast_g)


@dataclass(frozen=True, repr=False)
class Protein(Written):
    """Protein worked out from nitrogen, with the factor named; by the factor 6.25 it is crude protein."""

    protein_g: Number
    nitrogen_g: Number
    ammonium_n_g: Number
    factor: Number
    factor_name: str
    dry_g: Number | None = None

    @property
    def share(self) -> Any:
        """Protein per dry matter [g/g]; None without a dry matter."""
        return None if self.dry_g is None else self.protein_g / self.dry_g

    def page(self) -> Page:
        """Lines for the lab book; the factor stands on its own line."""
        what = "crude protein" if self.factor_name == "general" else "protein"
        lines = [
            Line("nitrogen", self.nitrogen_g, "g"),
            Line("of it ammonium left over", self.ammonium_n_g, "g N", "is not protein"),
            Line("factor", self.factor, "g protein/g N", self.factor_name),
            Line(what, self.protein_g, "g", f"nitrogen × {nominal(self.factor):g}"),
        ]
        if self.share is not None:
            lines.append(Line(f"{what} in the dry matter", self.share * 100, "%"))
        note = (
            "Yeast holds nitrogen in nucleic acids too, and 6.25 calls it protein: hence 'crude'. For true protein "
            "factors of 5.5 to 5.8 are in use; the ± of the factor spans them."
        )
        return Page(f"{what[:1].upper()}{what[1:]} from nitrogen", lines, (note,))


def protein(
    nitrogen_g: Number, factor: Number | str = "general", ammonium_n_g: Number = 0.0, dry_g: Number | None = None
) -> Protein:
    """Crude protein from total nitrogen, ammonium left over not counted.

    Parameters
    ----------
    nitrogen_g : float or ufloat
        Total nitrogen [g].
    factor : str, float or ufloat
        A word of `NITROGEN_FACTORS`, or grams of protein per gram of nitrogen.
    ammonium_n_g : float or ufloat
        Nitrogen in ammonium salts left over, as nitrogen [g].
    dry_g : float, ufloat or None
        Dry matter that holds it [g], for the share.

    Returns
    -------
    Protein

    Notes
    -----
    protein = factor × (nitrogen − ammonium nitrogen).

    Examples
    --------
    >>> print(protein(0.80, ammonium_n_g=0.05).protein_g)
    4.69+/-0.28

    References
    ----------
    Jones, USDA Circular 183 (1931); FAO Food and Nutrition Paper 77 (2003).
    """
    positive(nominal(nitrogen_g), "nitrogen [g]")
    not_negative(nominal(ammonium_n_g), "ammonium nitrogen [g N]")
    if nominal(ammonium_n_g) > nominal(nitrogen_g):
        raise InputError(
            f"{nominal(ammonium_n_g):g} g ammonium nitrogen in {nominal(nitrogen_g):g} g nitrogen",
            "no more ammonium nitrogen than nitrogen in all",
            "give both as nitrogen: ammonium × 14.007/18.039",
        )
    name = "given by the user"
    if isinstance(factor, str):
        one_of(factor, NITROGEN_FACTORS, "nitrogen factor")
        name = factor
        factor = ufloat(*NITROGEN_FACTORS[factor], tag=PROTEIN_FACTOR)
    positive(nominal(factor), "nitrogen factor [g protein/g N]")
    return Protein(factor * (nitrogen_g - ammonium_n_g), nitrogen_g, ammonium_n_g, factor, name, dry_g)
