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


CAUTIONS: Final = (
    Caution(
        "Pressure",
        "fit an airlock or a relief valve, and never rely on a calculation. A closed vessel that "
        "ferments can burst; the rating comes from the vessel's maker and falls with warmth, age and "
        "scratches.",
        ("fermenting", "closing", "warming", "venting"),
    ),
    Caution(
        "Soft-drink bottles",
        "figures are heard for PET bottles (filled at about 3.5 atm, failing at about 7 atm). Other weak "
        "sources contradict them, they leave gauge or absolute open, and heat and age lower them: "
        "they are no rating, and no calculation here uses them.",
        ("closing", "warming"),
    ),
    Caution(
        "Glass",
        "never close glass that is not made for pressure. It fails without warning, in shards.",
        ("fermenting", "closing", "warming", "venting"),
    ),
    Caution(
        "Venting",
        "a vent does not reset the pressure: it empties the gas space, and the liquid refills it. "
        "A supersaturated vessel foams when it is opened; cool it first, open it slowly, face away.",
        ("venting",),
        "Henry's law; the foam: common practice, no source",
    ),
    Caution(
        "CO2 in closed rooms",
        "CO2 is heavier than air and collects in cellars, cupboards and vats; it numbs before it is "
        "noticed. Ventilate, and never lean into a vessel that has fermented.",
        ("fermenting", "venting"),
    ),
    Caution(
        "Ethanol vapour",
        "the vapour that leaves when a fermented liquid is boiled down or dried can burn. "
        "No open flame, no spark; ventilate.",
        ("boiling down", "drying"),
    ),
    Caution(
        "Hot liquids",
        "hot syrup and paste stick and scald; they boil over. Keep the pot half empty, wear gloves.",
        ("autolysis", "boiling down", "drying"),
    ),
    Caution(
        "Hygiene",
        "a warm hold is no kill step. All time between 5 and 57 °C grows bacteria, warming up and cooling down "
        "too. Unknown growth, slime or an odd smell means throw it away; no tasting in class.",
        ("fermenting", "autolysis", "drying", "eating"),
        FOOD_CODE,
    ),
    Caution(
        "Purines and salt",
        "yeast and its extract are high in purines, extracts often in salt: not for everyone "
        "(gout, kidneys, blood pressure); ask a physician.",
        ("eating", "selling"),
    ),
    Caution(
        "Alcohol stated for tax or sale",
        "needs an approved method and often an approved laboratory. A home-made sensor, a hydrometer "
        "or a balance does not replace it.",
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
    ['Ethanol vapour', 'Hot liquids', 'Local codes first']
    """
    for step in steps:
        one_of(step, STEPS, "step")
    wanted = steps or STEPS
    return Cautions(tuple(wanted), tuple(c for c in CAUTIONS if set(c.steps) & set(wanted)))
