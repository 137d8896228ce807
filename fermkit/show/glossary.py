"""The words of a report: about thirty, each one sentence, with a number from the run at hand."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from fermkit.basis.errors import FermkitError
from fermkit.basis.written import interval, nominal, percent, plus_minus, uncertainty
from fermkit.batch.readings import HEXOSE_G
from fermkit.gas.curve import CO2_G_PER_MOL
from fermkit.run.analysis import Analysis


@dataclass(frozen=True)
class Entry:
    """A word, what it means, and a number from a run ("" where the run holds none)."""

    word: str
    says: str
    here: str


def glossary(analysis: Analysis) -> tuple[Entry, ...]:
    """Every word, with the numbers of a run."""
    return tuple(Entry(word, says, _here(number, analysis)) for word, (says, number) in WORDS.items())


def in_markdown(analysis: Analysis) -> str:
    """The words as a page beside the notebooks."""
    lines = [
        "# Words",
        "",
        f"What the words of a report mean, each with a number from the invented sample run *{analysis.run.name}*. "
        "± is one standard uncertainty.",
        "",
    ]
    lines += [
        f"- **{one.word}**: {one.says}" + (f" *Here: {one.here}.*" if one.here else "") for one in glossary(analysis)
    ]
    return "\n".join(lines) + "\n"


def _here(number: Callable[[Any], str], analysis: Analysis) -> str:
    try:
        return number(analysis)
    except (AttributeError, FermkitError, IndexError, KeyError, TypeError):  # the run holds no such number
        return ""


def _amount(key: str) -> Callable[[Any], str]:
    """A quantity of the estimate, with its ±."""
    return lambda a: f"{plus_minus(a.estimate.amount(key), 'g')}, {a.estimate[key].mark}"


def _most_of_doubt(a: Analysis) -> str:
    act, share = next(iter(a.uncertainty_shares().shares().items()))
    return f"{100 * share:.0f} % of the doubt (variance) comes from {act}"


def _interval(a: Analysis) -> str:
    low, high = a.yields["yeast_yield"].interval()
    return interval(low, high, "g/g") + " for the yield of yeast"


def _yield(a: Analysis) -> str:
    return plus_minus(a.yields["yeast_yield"].per_g, "g/g")


WORDS: Final[dict[str, tuple[str, Callable[[Any], str]]]] = {
    "± (standard uncertainty)": (
        "How far off a number may well be: about two times of three the true value lies within it.",
        lambda a: f"the alcohol made is {plus_minus(a.amounts['ethanol'], 'g')}",
    ),
    "95 % interval": (
        "The range that holds the true value 95 times of 100.",
        _interval,
    ),
    "Measured": ("Read or weighed in this run.", _amount("ethanol")),
    "Worked out": ("Not read itself: it follows from other readings and from the balances.", _amount("yeast")),
    "Assumed": ("Neither read nor worked out: what is usual, with a wide ±.", _amount("acids")),
    "Hexose": (
        "Simple sugar, C6H12O6; table sugar counts as the hexose that it splits into, 1.0526 times its weight.",
        lambda a: plus_minus(a.feed.hexose_g, "g") + " were fed",
    ),
    "Mole": (
        "A counted amount: 44.01 g of CO2, 46.07 g of ethanol or 180.16 g of hexose are one mole.",
        lambda a: f"{plus_minus(-a.amounts['hexose'] / HEXOSE_G, 'mol')} of hexose were used",
    ),
    "Yeast yield": ("New dry yeast for each gram of sugar used.", _yield),
    "Limit": (
        "The most that a recipe can give of a product; without air, energy sets it for the yeast.",
        lambda a: f"{percent(a.yields['yeast_yield'].share_of_limit)} of it was reached",
    ),
    "Gay-Lussac's equation": (
        "Sugar becomes alcohol and CO2, at most 0.511 g and 0.489 g of each gram of hexose.",
        lambda a: f"{percent(a.yields['ethanol_yield'].share_of_limit)} of that alcohol",
    ),
    "Inoculum": (
        "The yeast that is put in at the start; it does not count as grown.",
        lambda a: plus_minus(a.feed.inoculum_g, "g dry"),
    ),
    "Paste": ("What is pressed or spun out of the liquid at the end.", _amount("paste")),
    "Dry": (
        "Weighed after the water is gone, to constant weight.",
        lambda a: f"{percent(a.harvest.items['paste sample'].solids_fraction)} of the paste is dry matter",
    ),
    "Autolysis": (
        "Keeping the paste warm, so that the yeast opens itself and lets its contents out.",
        lambda a: plus_minus(a.hold.inside_h, "h") + " inside the window",
    ),
    "Extract": ("What the opened yeast lets out, dried.", _amount("extract")),
    "Debris": ("The empty cell walls that stay behind, dried.", _amount("debris")),
    "Washing loss": ("What washing takes out of the paste.", _amount("washings")),
    "By-products": ("Glycerol and acids, which every yeast makes besides alcohol.", _amount("glycerol")),
    "Gas space": (
        "The part of the vessel above the liquid.",
        lambda a: plus_minus(a.run.vessel.total_L - a.run.vessel.liquid_L, "L"),
    ),
    "CO2 held": (
        "Gas that stays dissolved in the liquid and passes no collector.",
        lambda a: plus_minus(a.gas[0].store_mol * CO2_G_PER_MOL, "g"),
    ),
    "Route": (
        "A way to the same CO2: a collector, a scale, a bubble counter, a pressure gauge.",
        lambda a: f"by two routes it differs by {plus_minus(a.routes.difference_mol * CO2_G_PER_MOL, 'g')}",
    ),
    "Leak": (
        "Gas that leaves the vessel beside the collector.",
        lambda a: percent(a.routes.leak) + " of the gas did not reach it",
    ),
    "Lag": ("The hours before the gas comes.", lambda a: plus_minus(a.read.lag_h, "h")),
    "Largest rate": (
        "The most gas in an hour.",
        lambda a: plus_minus(a.read.max_rate * CO2_G_PER_MOL, "g/h"),
    ),
    "Calibration": (
        "Reading a sensor on liquids of known alcohol, to learn what its signal means.",
        lambda a: f"{a.calibration.signal.size} standards",
    ),
    "Dilution": (
        "A sample with water added, so that it lies within the standards; 5-fold is one part in five.",
        lambda a: f"{max(a.samples[-1].dilutions):g}-fold",
    ),
    "Carbon balance": (
        "Carbon is neither made nor lost: what the sugar held must be in the products.",
        lambda a: percent(a.balance.closure()["carbon"]) + " of it was found",
    ),
    "Electrons (degree of reduction)": (
        "A count of what can still burn; like carbon it cannot be lost, and so it tests the numbers once more.",
        lambda a: percent(a.balance.closure()["electrons"]) + " of them were found",
    ),
    "chi²": (
        "How far all readings together miss the balances, in their ±; its p says how often chance misses so far.",
        lambda a: f"{a.reconciliation.chi2:.0f}, where about {a.reconciliation.degrees_of_freedom} is usual",
    ),
    "Suspect": (
        "A mistake that would explain why the readings do not fit together.",
        lambda a: a.suspects.first.suspects[0].mistake.words,
    ),
    "Whose ± it is": ("The step of the work that brings most of a number's doubt; improve that first.", _most_of_doubt),
    "Gauge pressure": (
        "Pressure above the air outside, as a gauge shows it; the maker's rating is the most that the vessel may bear.",
        lambda a: (
            f"{nominal(a.pressure.gauge_bar):.1f} bar"
            if a.pressure is not None and uncertainty(a.pressure.gauge_bar) > 0
            else ""
        ),
    ),
}
"""Word to sentence, and to the number that a run gives for it."""
