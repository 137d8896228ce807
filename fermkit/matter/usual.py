"""What is usual: the one home of every range that nobody measured, each from low to high and with its source.

Planning, the balance, the estimate of a batch and the ranking of mistakes read these ranges; the simulator does
not. A range is wide on purpose: it holds what a kitchen meets, not what a good day gives.
"""

from dataclasses import dataclass
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act

FOR_INTERVALS: Final = 1.0
"""Standard uncertainty over half a range, where an interval is to hold the truth. With 1.0 stated 95 % intervals held
at least 94 % in a study over all subsets of readings; with 0.85 91 %, with a rectangle's own 0.58 84 %."""

FOR_ALARMS: Final = 0.7
"""The same, where an alarm is to be raised: wider than this and no mistake is found, narrower and honest runs
alarm (with 1.0 in 0.1 % of runs and a leak of a fifth in 7 %; with 0.58 in 6 to 10 % of honest runs)."""


@dataclass(frozen=True)
class Usual:
    """What is usual of one thing.

    Attributes
    ----------
    name : str
        What it is, in words.
    low, high : float
        From where to where, in `unit`.
    unit : str
    source : str
        Where that is known from; "common practice, no source" where nowhere.

    Examples
    --------
    >>> print(ACIDS.value(), ACIDS.value(FOR_ALARMS))
    0.015+/-0.015 0.015+/-0.010
    """

    name: str
    low: float
    high: float
    unit: str
    source: str

    @property
    def middle(self) -> float:
        """Half-way between its ends."""
        return (self.low + self.high) / 2.0

    @property
    def half(self) -> float:
        """Half of its width."""
        return (self.high - self.low) / 2.0

    def value(self, width: float = FOR_INTERVALS) -> Any:
        """The middle with its standard uncertainty: half the range times `FOR_INTERVALS` or `FOR_ALARMS`."""
        return ufloat(self.middle, width * self.half, tag=Act(f"usual {self.name}", self.name))

    def in_words(self) -> str:
        """The range and its source, as a line on a page."""
        return f"{self.name}: {self.low:g} to {self.high:g} {self.unit}".rstrip() + f" ({self.source})"


PRACTICE: Final = "common practice, no source"

GLYCEROL: Final = {
    "ammonium": Usual(
        "glycerol made with the yeast", 8.0, 13.0, "mmol/g",
        "measured without air 10.1, 10.3, 10.6, 12.1 (Nissen et al., Microbiology 143 (1997) 203, page from memory), "
        "10.9 (Jouhten et al., BMC Syst. Biol. 2 (2008) 60), 7.9 (Celton et al. 2012), 13.0 (Wasylenko & "
        "Stephanopoulos 2014), 12.5 ± 1.3 (Sjöberg et al., doi 10.1016/j.ymben.2024.01.007): glycerol flux over growth "
        "rate, worked out from the tables of anaerobic fluxes that come with the genome-scale model yeast-GEM",
    ),
    "amino": Usual(
        "glycerol made with the yeast", 4.0, 8.0, "mmol/g",
        "0.10 mol/mol glucose, against 0.21 with ammonium: Albers et al., Appl. Environ. Microbiol. 62 (1996) 3187; "
        "the value for each gram of yeast is judged from that",
    ),
    "mixture": Usual(
        "glycerol made with the yeast", 4.0, 13.0, "mmol/g", "from amino nitrogen to ammonium, as each of the two",
    ),
    "short": Usual(
        "glycerol made with the yeast", 4.0, 28.0, "mmol/g",
        "as for the two, up to what a yeast that hardly grows makes as it goes on fermenting: 3.40 parts of glycerol "
        "beside 1.30 of yeast, 28 mmol/g (Pasteur, Ann. Chim. Phys. 58 (1860) 323, from memory)",
    ),
}  # fmt: skip
"""Glycerol for each gram of dry yeast grown without air, by the source of its nitrogen [mmol/g]."""

ACIDS: Final = Usual(
    "acids made", 0.0, 0.03, "of the used sugar's carbon",
    PRACTICE + "; measured on ammonium 0.6 to 1.6 % (Nissen et al. 1997) and 0.9 % (Celton et al. 2012)",
)  # fmt: skip

YEAST: Final = Usual(
    "yeast grown without air", 0.01, 0.13, "g/g hexose used",
    "at best 0.086 to 0.125 in chemostats (growth over glucose uptake, as for glycerol; and Verduyn et al., J. Gen. "
    "Microbiol. 136 (1990) 395, from memory); 0.05 by "
    "Balling's rule; 0.01 where nitrogen runs out early, common practice",
)  # fmt: skip
YEAST_AT_BEST: Final = Usual(
    "yeast at best without air", 0.086, 0.125, "g/g hexose used",
    "in well-fed chemostats (growth over glucose uptake, as for glycerol; and Verduyn et al., J. Gen. Microbiol. 136 "
    "(1990) 395, from memory)",
)  # fmt: skip
YEAST_AT_BEST_WITH_AIR: Final = Usual(
    "yeast at best with an air pump", 0.4, 0.5, "g/g hexose used", "0.5 where all is respired, " + PRACTICE
)
NOT_TOLD: Final = 0.02
"""A feed of which an element allows less yeast than this is silent about it [g/g hexose]: judgement, no source."""
YEAST_WITH_PUMP: Final = Usual(
    "yeast grown with an air pump", 0.01, 0.45, "g/g hexose used",
    "0.5 where all is respired, common practice; as without air where sugar is plenty (Crabtree effect)",
)  # fmt: skip
YEAST_ELECTRONS: Final = Usual(
    "electrons in the yeast", 4.03, 4.28, "for each carbon",
    "formulas of S. cerevisiae without ash, against ammonia: CH1.613O0.557N0.158 4.03 (Battley), CH1.64O0.52N0.16 4.12 "
    "(Doran), CH1.83O0.56N0.17 4.20 (Roels 1983), CH1.81O0.51N0.17 4.28 (Atkinson & Mavituna); first and last from "
    "memory",
)  # fmt: skip
YEAST_PER_CARBON: Final = Usual(
    "yeast without ash for each mole of its carbon", 24.2, 25.4, "g/mol",
    "the same formulas 24.2 to 25.2; CH1.748O0.596N0.148 25.4 (Lange & Heijnen, Biotechnol. Bioeng. 75 (2001) 334, "
    "from memory)",
)  # fmt: skip
ASH: Final = Usual("ash of the yeast", 0.05, 0.08, "g/g", "Roels 1983; Villadsen et al.")

ETHANOL_MADE: Final = Usual(
    "alcohol made", 0.42, 0.49, "g/g hexose used",
    "0.511 by Gay-Lussac, less 4 to 18 % for yeast and by-products, " + PRACTICE,
)  # fmt: skip
GLYCEROL_MADE: Final = Usual("glycerol made", 0.01, 0.07, "g/g hexose used", "as for `GLYCEROL` and `YEAST`")
DISSOLVED_BY_YEAST: Final = Usual("other solids dissolved, less those that the yeast took", -2.0, 2.0, "g/L", PRACTICE)

SUGAR_LEFT: Final = Usual("sugar left over", -0.1, 0.3, "of the sugar fed", PRACTICE)
USED_UP: Final = Usual("sugar left where a sugar test reads none", -0.01, 0.05, "of the sugar fed", PRACTICE)

FRUCTOSE_UNSEEN: Final = Usual("fructose that a glucose test does not see", 0.0, 0.05, "of the sugar fed", PRACTICE)
SUCROSE_UNSEEN: Final = Usual("sucrose that a sugar test does not see", -0.01, 0.03, "of the sugar fed", PRACTICE)

ETHANOL_STRIPPED: Final = Usual("ethanol carried out by the gas", 0.0, 0.02, "of the ethanol", PRACTICE)
STRIPPED_WITH_PUMP: Final = Usual("ethanol carried out by the air pump", 0.0, 0.3, "of the ethanol", PRACTICE)

LEAK: Final = Usual("gas that leaks past the collector", 0.0, 0.04, "of the gas", PRACTICE)
OXYGEN_KEPT: Final = Usual("oxygen of the vessel's air that the yeast takes", 0.0, 1.0, "of it", PRACTICE)
RESPIRED_WITH_PUMP: Final = Usual("sugar respired with an air pump", 0.0, 0.5, "of the sugar", PRACTICE)

AT_REST: Final = (
    "0.9 to 1.0 by what is dissolved (see `co2_vs_water`), times 1.0 to 1.1 for a liquid that is not stirred, "
    + PRACTICE
)
STORE: Final = {
    "used up": Usual("CO2 held by the liquid, against saturation", 0.88, 1.14, "", AT_REST),
    "stopped": Usual("CO2 held by the liquid, against saturation", 0.88, 1.14, "", AT_REST),
    "running": Usual(
        "CO2 held by the liquid, against saturation", 1.0, 1.8, "", "1.64 in a mechanistic model; else " + PRACTICE
    ),
    "not stated": Usual("CO2 held by the liquid, against saturation", 0.9, 1.8, "", PRACTICE),
    "closed": Usual("CO2 held by the liquid, against the balance with its gas space", 0.88, 1.2, "", AT_REST),
    "vented": Usual("CO2 held by the liquid, against saturation", 1.0, 5.0, "", PRACTICE),
}
"""How much CO2 the liquid holds, over what it holds in rest under CO2 at the barometer's pressure."""

GAS_SPACE_CO2: Final = Usual("CO2 in the gas space", 0.7, 1.0, "of its dry gas", PRACTICE)

CELL_PG: Final = Usual(
    "dry mass of a yeast cell", 20.0, 65.0, "pg",
    "20 of a diploid laboratory strain (Sherman, Methods Enzymol. 350 (2002) 3, from memory); 50 by the 20 thousand "
    "million cells that are told for a gram of dried baker's yeast, common practice; 59 rising to 75 in a brewery "
    "wort, 80 million cells in a mL with 4.7 to 6.0 g/L (Boulton & Quain, Brewing Yeast and Fermentation, read as "
    "quoted)",
)  # fmt: skip
CELL_CHANGES: Final = 0.12
"""By how much a cell's dry mass differs between two times of a batch, as a share: a quarter over a fermentation, by the
same brewery wort."""
SUSPENDED: Final = Usual(
    "yeast that is in suspension when a sample is drawn", 0.85, 1.0, "of the yeast", PRACTICE + "; stirred first"
)

INOCULUM: Final = Usual("yeast put in, where none is told", 0.0, 0.04, "g dry/g hexose", PRACTICE)
LIQUID: Final = Usual("liquid, where none is told", 0.004, 0.025, "L/g hexose", PRACTICE)
GAS_SPACE: Final = Usual("gas space, where none is told", 0.05, 0.5, "of the liquid", PRACTICE)

CARRIED: Final = Usual("feed solids carried into the paste", 0.0, 0.2, "of the feed's solids", PRACTICE)
HARVESTED: Final = Usual("share of the solids that was harvested", 0.84, 0.98, "", PRACTICE)
MUD: Final = Usual("mud of the feed that settles with the yeast", 0.0, 0.01, "of the feed's solids", PRACTICE)
ON_THE_WALLS: Final = Usual("yeast left on walls and cloths", 0.0, 0.04, "of the paste", PRACTICE)
WASHED_OUT: Final = Usual("dry matter lost in washing", 0.0, 0.4, "of the paste", PRACTICE)
EXTRACT_SHARE: Final = Usual("share of the dry matter that dissolves", 0.35, 0.7, "", PRACTICE)
