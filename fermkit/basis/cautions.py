"""What can hurt someone, as data with one home, keyed by the step where it can happen.

Every page, report and notebook takes its cautions from here, so that a sentence is mended
once. They name dangers and defer to those who may judge them; none promises safety.
"""

from dataclasses import dataclass
from typing import Final

from fermkit.basis.checks import one_of
from fermkit.basis.written import Page, Written

STEPS: Final = (
    "fermenting",
    "closing",
    "warming",
    "venting",
    "measuring alcohol",
    "autolysis",
    "boiling down",
    "drying",
    "keeping",
    "eating",
    "selling",
)
"""The steps of a run at which cautions are shown."""

FOOD_CODE: Final = "US Food Code, section 3-501.16(A): hot holding at 57 °C (135 °F) or above"
"""Where the hot-holding limit comes from (read as adopted in WAC 246-215-03525, 2009)."""

HOT_HOLDING_LIMIT_C: Final = 57.0
"""Temperature below which food that is kept warm is held to grow bacteria [°C]: `FOOD_CODE`."""


@dataclass(frozen=True)
class Caution:
    """One danger: its name, what to say about it, at which steps, and where that comes from."""

    name: str
    says: str
    steps: tuple[str, ...]
    source: str = "common practice, no source"

    def sentence(self) -> str:
        """The caution as one paragraph, its source in brackets."""
        return f"{self.name}: {self.says} [{self.source}]"


CLOSED_ROOMS: Final = Caution(
    "CO2 in closed rooms",
    "CO2 is heavier than air and collects in cellars, cupboards and vats; it numbs before it is noticed. "
    "More than 0.5 % in the air is too much for a working day of 8 h, more than 3 % for a quarter of an hour, and "
    "4 % is dangerous at once. Five kilograms of sugar make about 1.3 m3 of CO2. Ventilate, and never lean into a "
    "vessel that has fermented.",
    ("fermenting", "venting"),
    "OSHA, 29 CFR 1910.1000 table Z-1: 5,000 ppm over 8 h; NIOSH Pocket Guide to Chemical Hazards, carbon dioxide: "
    "30,000 ppm short-term, 40,000 ppm IDLH (read as quoted)",
)

CAUTIONS: Final = (
    Caution(
        "Pressure",
        "fit an airlock or a relief valve, and never rely on a calculation. A closed vessel that ferments can "
        "burst; the rating comes from the vessel's maker and falls with warmth, age and scratches.",
        ("fermenting", "closing", "warming", "venting"),
    ),
    Caution(
        "A blocked airlock",
        "foam can carry pulp into the airlock, and a blocked airlock is a closed vessel. Leave a fifth of the "
        "vessel empty, use a wide tube if it foams, and look every day.",
        ("fermenting",),
    ),
    Caution(
        "Drink bottles",
        "no pressure rating is known for reused drink bottles; heat and age weaken them; never use them "
        "closed.",
        ("closing", "warming"),
    ),
    Caution(
        "Glass",
        "never close glass that is not made for pressure. It fails without warning, in shards.",
        ("fermenting", "closing", "warming", "venting"),
    ),
    Caution(
        "Venting",
        "a vent does not reset the pressure: it empties the gas space, and the liquid refills it. A "
        "supersaturated vessel foams when it is opened; cool it first, open it slowly, face away.",
        ("venting",),
        "Henry's law; the foam: common practice, no source",
    ),
    CLOSED_ROOMS,
    Caution(
        "Ethanol vapour",
        "the vapour that leaves when a fermented liquid is boiled down or dried can burn. No open flame, no "
        "spark; ventilate.",
        ("boiling down", "drying"),
    ),
    Caution(
        "Urea and heat",
        "urea and alcohol heated together make ethyl carbamate, which may cause cancer. Feed no urea to what "
        "will be heated and eaten or drunk; ammonium salts do not do this.",
        ("boiling down", "drying", "eating"),
        "EFSA Journal (2007) 551, ethyl carbamate in food and beverages (from memory)",
    ),
    Caution(
        "Hot liquids",
        "hot syrup and paste stick and scald; they boil over. Keep the pot half empty, wear gloves.",
        ("autolysis", "boiling down", "drying"),
    ),
    Caution(
        "Hygiene",
        "keeping paste warm does not kill bacteria. Between 5 and 57 °C they grow, also while it warms up and "
        "cools down. Unknown growth, slime or an odd smell means throw it away; no tasting in class.",
        ("fermenting", "autolysis", "drying", "eating"),
        FOOD_CODE,
    ),
    Caution(
        "Feed-grade molasses",
        "molasses sold for animals is not made for people: it may hold urea, and nobody checked it as food. "
        "Take food grade for anything that will be eaten.",
        ("fermenting", "eating", "selling"),
    ),
    Caution(
        "Yeast extract and some medicines",
        "yeast extract can hold much tyramine. With medicines that block monoamine oxidase (MAO inhibitors, "
        "some of them against depression or Parkinson's disease) it can drive the blood pressure dangerously "
        "high. Do not eat it then; ask a physician.",
        ("autolysis", "keeping", "eating", "selling"),
        "Blackwell, Marley & Mabbitt, Lancet 285 (1965) 940 (from memory)",
    ),
    Caution(
        "Purines and salt",
        "dry yeast holds purines that make about 1.8 g of uric acid from 100 g, several times what a day of "
        "food low in purines may make (0.5 g); extracts are often salty too. Not for everyone (gout, kidneys, "
        "blood pressure); ask a physician.",
        ("keeping", "eating", "selling"),
        "food tables for dried brewer's yeast, 1.81 g in 100 g (from memory)",
    ),
    Caution(
        "Food that is kept",
        "what may be kept, how long, how cold and how sealed is for food law and a laboratory, not for a sum. A moist "
        "paste without air can grow Clostridium botulinum, whose toxin is neither seen nor smelt: seal or tin nothing "
        "without an approved process. When in doubt, throw it away.",
        ("keeping",),
        "21 CFR 113 and 114, US (from memory)",
    ),
    Caution(
        "Alcohol stated for tax or sale",
        "needs an approved method and often an approved laboratory. A home-made sensor, a hydrometer or a "
        "balance does not replace it.",
        ("measuring alcohol", "selling"),
    ),
    Caution(
        "Local codes first",
        "food law, fire, pressure and building codes of the place, and people licensed under them, come "
        "before anything written here. These cautions are not complete and promise no safety.",
        STEPS,
    ),
)
"""All cautions, in the order in which they are shown."""


@dataclass(frozen=True, repr=False)
class Cautions(Written):
    """The cautions that belong to some steps, ready to be shown beside them."""

    steps: tuple[str, ...]
    items: tuple[Caution, ...]

    def sentences(self) -> tuple[str, ...]:
        """One paragraph for each caution."""
        return tuple(item.sentence() for item in self.items)

    def page(self) -> Page:
        """Heading and one remark for each caution."""
        return Page(f"Take care: {', '.join(self.steps)}", remarks=self.sentences())


def cautions_for(*steps: str) -> Cautions:
    """What to take care of at one or more steps; without a step, everything.

    Parameters
    ----------
    *steps : str
        Words from `STEPS`.

    Returns
    -------
    Cautions
        Prints, shows as HTML, and gives `.sentences()`; each caution once, however many steps share it.

    Raises
    ------
    InputError
        If a step is not on the list.

    Examples
    --------
    >>> [item.name for item in cautions_for("boiling down").items]
    ['Ethanol vapour', 'Urea and heat', 'Hot liquids', 'Local codes first']
    """
    for step in steps:
        one_of(step, STEPS, "step")
    wanted = steps or STEPS
    return Cautions(tuple(wanted), tuple(c for c in CAUTIONS if set(c.steps) & set(wanted)))
