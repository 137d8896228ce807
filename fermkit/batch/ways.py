"""One feed run three ways, side by side: without air, with air, fed slowly with air."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fermkit.basis.written import Line, Page, Written
from fermkit.batch.plan import WAYS, BatchPlan, plan_batch
from fermkit.matter.composition import molar_mass
from fermkit.matter.feed import Feed

ROWS: tuple[tuple[str, str, Callable[[BatchPlan], Any]], ...] = (
    ("new dry yeast", "g", lambda plan: plan.fate.yeast_g),
    ("yeast for a gram of hexose", "g/g", lambda plan: plan.fate.yeast_g / plan.feed.hexose_g),
    ("ethanol left", "g", lambda plan: plan.fate.ethanol_g - plan.ethanol_stripped_g),
    ("alcohol", "% vol", lambda plan: plan.ethanol_pct_vol),
    ("ethanol carried out", "g", lambda plan: plan.ethanol_stripped_g),
    ("CO2 made", "g", lambda plan: plan.fate.co2_g),
    ("sugar respired", "%", lambda plan: 100 * plan.respired_share),
    ("oxygen used", "g", lambda plan: plan.fate.oxygen_mol * molar_mass("O2")),
    ("CO2 out / O2 in", "mol/mol", lambda plan: plan.fate.respiratory_quotient),
    ("heat", "kJ", lambda plan: plan.fate.heat_kJ),
)
"""What is compared: name, unit, and where it stands in a plan."""


@dataclass(frozen=True, repr=False)
class Ways(Written):
    """The plans of one feed, by the way it is run."""

    plans: dict[str, BatchPlan]

    def page(self) -> Page:
        """One line for each quantity and way."""
        lines = []
        for name, unit, of in ROWS:
            for how, plan in self.plans.items():
                value = of(plan)
                lines.append(
                    Line(f"{name}, {how}", "no oxygen" if value is None else value, "" if value is None else unit)
                )
        said = [remark for plan in self.plans.values() for remark in plan.remarks]
        return Page("One feed, run three ways", lines, tuple(dict.fromkeys(said)))

    def more_yeast_g(self, how: str = "fed slowly", than: str = "without air") -> Any:
        """How much more yeast one way gives than another [g]; the feed's own ± is shared and cancels where it can."""
        return self.plans[how].fate.yeast_g - self.plans[than].fate.yeast_g


def plan_ways(feed: Feed, **conditions: Any) -> Ways:
    """What aeration or slow feeding would change.

    Parameters
    ----------
    feed : Feed
    **conditions
        As in `plan_batch`, all but ``how``.

    Returns
    -------
    Ways

    Examples
    --------
    >>> from fermkit.matter.feed import feed
    >>> from fermkit.basis.written import plus_minus
    >>> mash = feed({"white sugar": 100.0, "water": 2000.0, "diammonium phosphate": 6.0, "ammonium sulfate": 18.0,
    ...              "monopotassium phosphate": 5.0, "magnesium sulfate": 2.0, "active dry yeast": 7.0})
    >>> for how, plan in plan_ways(mash, kLa_per_h=100.0, air_L_per_min=1.0).plans.items():
    ...     print(how, plus_minus(plan.fate.yeast_g, "g"))
    without air 7.4 ± 6.3 g
    aerated 11.2 ± 6.0 g
    fed slowly 49.4 ± 6.7 g

    References
    ----------
    As in `plan_batch`.
    """
    return Ways({how: plan_batch(feed, how=how, **conditions) for how in WAYS})
