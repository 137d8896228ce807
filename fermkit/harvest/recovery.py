"""What came out: net yeast, recovered fractions, protein.

Every answer is worked out on the caller's own numbers with ±, so that a weighing shared by two
results stays shared, up to the yield.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import not_negative, one_of, positive
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, nominal, percent, plus_minus, uncertainty

NITROGEN_FACTORS: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {
        "general": (6.25, 0.0),
        "milk": (6.38, 0.0),
        "wheat flour": (5.70, 0.0),
        "gelatin": (5.55, 0.0),
        "yeast, true protein": (5.65, 0.15 / 3**0.5),
    }
)
"""Grams of protein per gram of nitrogen, with ±: Jones, USDA Circular 183 (1931); FAO Food and Nutrition
Paper 77 (2003), ch. 2. Yeast without its nucleic acids 5.5 to 5.8 (all from memory)."""

DETECTED: Final = 3.605
"""How many standard uncertainties a gap must have to be found in 19 of 20 runs by a test that is wrong
once in 20: 1.960 + 1.645 (normal quantiles; Currie, Anal. Chem. 40 (1968) 586, for the idea)."""


@dataclass(frozen=True, repr=False)
class NetYeast(Written):
    """Dry yeast in a product, less what is not yeast, less what was put in; all g of dry matter."""

    product_dry_g: Any
    non_yeast_solids_g: Any
    inoculum_dry_g: Any

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


def net_yeast(product_dry_g: Any, non_yeast_solids_g: Any = 0.0, inoculum_dry_g: Any = 0.0) -> NetYeast:
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


def carried_solids(feed_solids_g: Any, broth_liquid_g: Any, paste_liquid_g: Any) -> Any:
    """Dissolved solids of the feed that stay in the liquid of an unwashed paste.

    Parameters
    ----------
    feed_solids_g : float or ufloat
        Unfermentable dissolved solids put in with the feed [g].
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
    The dissolved solids are spread evenly: carried = feed solids × paste liquid/broth liquid.

    Examples
    --------
    >>> carried_solids(24.0, 1000.0, 60.0)
    1.44

    References
    ----------
    Mass balance.
    """
    not_negative(nominal(feed_solids_g), "solids of the feed [g]")
    positive(nominal(broth_liquid_g), "liquid in the vessel [g]")
    if not 0 <= nominal(paste_liquid_g) <= nominal(broth_liquid_g):
        raise InputError(
            f"{nominal(paste_liquid_g):g} g liquid in the paste of {nominal(broth_liquid_g):g} g in all",
            "no more liquid in the paste than in the vessel",
            "check which weight is which",
        )
    return feed_solids_g * (paste_liquid_g / broth_liquid_g)


@dataclass(frozen=True, repr=False)
class Recovery(Written):
    """Where the dry matter went when yeast was split into extract and debris; all g of dry matter."""

    dry_yeast_g: Any
    non_yeast_solids_g: Any
    added_g: Any
    extract_g: Any
    debris_g: Any
    losses_g: Any

    @property
    def in_g(self) -> Any:
        """All dry matter that went in [g]."""
        return self.dry_yeast_g + self.non_yeast_solids_g + self.added_g

    @property
    def missing_g(self) -> Any:
        """What nobody weighed [g]: in − extract − debris − losses; negative: more out than in."""
        return self.in_g - self.extract_g - self.debris_g - self.losses_g

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

    def streams(self) -> dict[str, Any]:
        """The fractions as streams of a balance [g]: in negative, out positive."""
        return {
            "dry yeast": -self.dry_yeast_g,
            "non-yeast solids": -self.non_yeast_solids_g,
            "added": -self.added_g,
            "extract": self.extract_g,
            "debris": self.debris_g,
            "losses": self.losses_g,
        }

    def verdict(self) -> str:
        """Whether the fractions add up, and what gap these weighings could have seen."""
        gap, u = nominal(self.missing_g), uncertainty(self.missing_g)
        if u == 0:
            return f"{plus_minus(gap, 'g')} is missing; only a ± on the weights could say whether it matters."
        seen = (
            f"These weighings find a gap of {plus_minus(DETECTED * u, 'g')} 19 times in 20, a smaller one less often."
        )
        if abs(gap) <= 1.96 * u:
            return f"The fractions add up within their error. {seen}"
        if gap > 0:
            return f"{plus_minus(self.missing_g, 'g')} is missing beyond error: name the loss. {seen}"
        return (
            f"{plus_minus(-self.missing_g, 'g')} more came out than went in: is the dry matter really dry, "
            f"was salt added and not counted? {seen}"
        )

    def page(self) -> Page:
        """Lines for the lab book and the verdict."""
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
            ),
            (self.verdict(), *cautions_for("eating").sentences()),
        )


def recovery(
    *,
    dry_yeast_g: Any,
    extract_g: Any,
    debris_g: Any,
    non_yeast_solids_g: Any = 0.0,
    added_g: Any = 0.0,
    losses_g: Any = 0.0,
) -> Recovery:
    """Whether extract and debris add up to the yeast that was opened.

    Parameters
    ----------
    dry_yeast_g, non_yeast_solids_g, added_g : float or ufloat
        Dry matter in [g]: yeast, what came with it, what was added (salt).
    extract_g, debris_g, losses_g : float or ufloat
        Dry matter out [g]: soluble, insoluble, and losses that were weighed (samples, pots).

    Returns
    -------
    Recovery

    Notes
    -----
    missing = yeast + non-yeast solids + added − extract − debris − losses.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> out = recovery(dry_yeast_g=ufloat(20, 0.4), extract_g=ufloat(11.6, 0.3), debris_g=ufloat(7.2, 0.2))
    >>> print(out.missing_g)
    1.2+/-0.5

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
    ):
        not_negative(nominal(value), name)
    return Recovery(dry_yeast_g, non_yeast_solids_g, added_g, extract_g, debris_g, losses_g)


@dataclass(frozen=True, repr=False)
class Protein(Written):
    """Protein worked out from nitrogen, with the factor named."""

    protein_g: Any
    nitrogen_g: Any
    ammonium_n_g: Any
    factor: Any
    factor_name: str
    dry_g: Any = None

    @property
    def share(self) -> Any:
        """Protein per dry matter [g/g]; None without a dry matter."""
        return None if self.dry_g is None else self.protein_g / self.dry_g

    def page(self) -> Page:
        """Lines for the lab book; the factor stands on its own line."""
        lines = [
            Line("nitrogen", self.nitrogen_g, "g"),
            Line("of it ammonium left over", self.ammonium_n_g, "g N", "is not protein"),
            Line("factor", self.factor, "g protein/g N", self.factor_name),
            Line("protein", self.protein_g, "g", f"nitrogen × {plus_minus(self.factor)}"),
        ]
        if self.share is not None:
            lines.append(Line("protein in the dry matter", self.share * 100, "%"))
        note = (
            "Yeast holds nitrogen in nucleic acids too: the general factor 6.25 calls it protein; for true "
            "protein factors of 5.5 to 5.8 are in use."
        )
        return Page("Protein from nitrogen", lines, (note,))


def protein(nitrogen_g: Any, factor: Any = "general", ammonium_n_g: Any = 0.0, dry_g: Any = None) -> Protein:
    """Protein from total nitrogen, ammonium left over not counted.

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
    >>> protein(0.80, "general", ammonium_n_g=0.05).protein_g
    4.6875

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
        value, u = NITROGEN_FACTORS[factor]
        factor = ufloat(value, u, tag=Act("protein factor", "the nitrogen-to-protein factor")) if u else value
    positive(nominal(factor), "nitrogen factor [g protein/g N]")
    return Protein(factor * (nitrogen_g - ammonium_n_g), nitrogen_g, ammonium_n_g, factor, name, dry_g)
