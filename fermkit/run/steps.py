"""The analysis as a list: one line a result, in the order in which they are worked out.

To add a result: write its function, give `Analysis` a field of its name and type, and put its line here. The report's
appendix, JSON, workbook and gaps all walk this list; a picture for it stands in `show.report.PICTURES`. The report's
first two pages (`run.first_page`) and `Analysis.page` choose their lines by hand.
"""

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from fermkit.balance.account import Balance
from fermkit.basis.errors import FermkitError
from fermkit.basis.written import Page
from fermkit.run.alcohol import calibration_of, drift_of, final_ethanol_pct_vol, rows_by_sample, sample_of
from fermkit.run.around import around_of, dissolved_of, pages_of_dissolved, room_of
from fermkit.run.autolysed import autolysis_of, hold_of, keeping_of
from fermkit.run.balanced import amounts_of, balance_of
from fermkit.run.batch_readings import (
    adds_up_of,
    blind_to,
    estimate_of,
    next_of,
    own_sums_of,
    progress_of,
    respired_of,
    supported_first,
    suspects_of,
)
from fermkit.run.closed_vessel import pressure_of, vessel_of
from fermkit.run.feeding import feed_of, limits_of, sugar_left_of
from fermkit.run.gas_routes import curves_of, growth_of, lag_and_rate, made_from, released_by, routes_of
from fermkit.run.harvested import drying_of, harvest_of, protein_of, recovery_of, yeast_of
from fermkit.run.priced import cost_of_run
from fermkit.run.sugar_in_time import course_of
from fermkit.run.washed import washing_of
from fermkit.run.yeast_seen import turbidity_line_of, yeast_course, yeast_seen
from fermkit.run.yields import shares_of, yields_of


def pages_of(result: Any) -> list[Page]:
    """The pages of a result, or of each of several."""
    return [one.page() for one in (result if isinstance(result, tuple) else (result,))]


def hidden(_: Any) -> list[Page]:
    """Nothing: other results show it."""
    return []


@dataclass(frozen=True)
class Step:
    """One result: how it comes about, what it needs, and how it is shown.

    Attributes
    ----------
    name : str
        Its field in `Analysis`; a result that only later steps use has none.
    title : str
        What a person calls it.
    work : function
        Gives the result, or None where the run does not hold it.
    needs : str
        "run", "curve" (the growth curve that was asked for) or names of earlier results, in the order of the
        function's arguments. One with a question mark may be missing. Where another is missing, the step is passed
        over in silence: why is told at the step that should have given it.
    missing : str
        What is said when the function itself gives None; "" where nothing is missed.
    each : str
        Name of a tuple, such as "run.gas": the work is done for each of its members, which is the first argument,
        so that one bad member costs itself only; the result is a tuple.
    pages : function
        From the result to what is shown: as it stands, the result's own `page()`; `hidden` for what others show.
    unless : str
        Name of a result that, where it is there, shows this one already.
    front : bool
        Whether it is shown before all others.
    """

    name: str
    title: str
    work: Callable[..., Any]
    needs: str
    missing: str = ""
    each: str = ""
    pages: Callable[[Any], Iterable[Page]] = pages_of
    unless: str = ""
    front: bool = False

    def arguments(self, found: Any) -> list[Any] | None:
        """What the work is given; None where something that it needs is missing."""
        names = self.needs.split()
        given = [attrgetter(name.rstrip("?"))(found) for name in names]
        there = (name.endswith("?") or not_empty(value) for name, value in zip(names, given))
        return given if all(there) else None

    def done(self, found: Any) -> tuple[Any, list[str]]:
        """The result, and what went wrong on the way."""
        arguments = self.arguments(found)
        if arguments is None:
            return None if not self.each else (), []
        if not self.each:
            result, why = self._tried(arguments)
            return result, why or ([self.missing] if result is None and self.missing else [])
        tried = [self._tried([member, *arguments]) for member in attrgetter(self.each)(found) or ()]
        results = tuple(result for result, _ in tried if result is not None)
        why = [reason for _, reasons in tried for reason in reasons]
        return results, why or ([self.missing] if not results and self.missing else [])

    def _tried(self, arguments: list[Any]) -> tuple[Any, list[str]]:
        """What the work gives, or None and the reason."""
        try:
            return self.work(*arguments), []
        except FermkitError as problem:
            return None, [f"{problem.met}; needed: {problem.needed}"]
        except Exception as problem:  # a mistake of ours: the other results stand, the log has the way through the code
            logging.getLogger("fermkit").debug("%s failed", self.name, exc_info=True)
            return None, [f"the program stumbled over these readings ({type(problem).__name__}: {problem})"]

    def shown(self, result: Any) -> list[Page]:
        """A result's pages; one that cannot be shown costs itself only."""
        try:
            return list(self.pages(result))
        except Exception as problem:  # a mistake of ours: the log has the way through the code
            logging.getLogger("fermkit").debug("%s cannot be shown", self.name, exc_info=True)
            return [Page(self.title, remarks=(f"The program stumbled while writing this ({type(problem).__name__}).",))]


def not_empty(value: Any) -> bool:
    """Whether a result is there: not None, and no empty tuple or mapping."""
    return value is not None and not (isinstance(value, tuple | dict) and not value)


STEPS = (
    Step("feed", "Feed", feed_of, "run", "run.toml lists no feed"),
    Step("sugar_course", "Sugar in time", course_of, "run feed"),
    Step("limits", "Limits of the yeast", limits_of, "run feed"),
    Step("calibration", "Standards", calibration_of, "run"),
    Step("drift", "Drift of the sensor", drift_of, "run calibration"),
    Step("sample_rows", "Samples", rows_by_sample, "run", pages=hidden),
    Step("samples", "Samples", sample_of, "run calibration drift?", each="sample_rows"),
    Step("ethanol_pct_vol", "Ethanol", final_ethanol_pct_vol, "run samples? calibration?",
         "no sample was read inside the standards, and run.toml gives no content", pages=hidden),
    Step("released", "Gas", released_by, "run ethanol_pct_vol?", "no gas was read", each="run.gas", pages=hidden),
    Step("routes", "Routes compared", routes_of, "released"),
    Step("vessel", "Vessel", vessel_of, "run", pages=hidden),
    Step("turbidity_line", "Cloudiness of the yeast", turbidity_line_of, "run"),
    Step("yeast_seen", "Yeast during the run", yeast_seen, "run turbidity_line?", pages=hidden),
    Step("dissolved", "CO2 in the liquid", dissolved_of, "run", pages=pages_of_dissolved),
    Step("estimate", "What became of the sugar", estimate_of,
         "run feed ethanol_pct_vol? released? vessel? yeast_seen? sugar_course? dissolved?", front=True),
    Step("respired", "Respired or fermented?", respired_of, "run estimate released?"),
    Step("own_sums", "Your own sums", own_sums_of, "run estimate", front=True),
    Step("gas_by_route", "CO2 made", made_from, "run", each="released", pages=hidden),
    Step("gas", "CO2 made", supported_first, "gas_by_route routes? estimate?"),
    Step("progress", "State of the run", progress_of, "run feed gas"),
    Step("around", "Around the vessel", around_of, "run"),
    Step("room", "CO2 and the room", room_of, "run released? estimate?"),
    Step("read", "Gas without a growth curve", lag_and_rate, "gas"),
    Step("curves", "Curves compared", curves_of, "gas curve"),
    Step("growth", "Gas curve", growth_of, "gas curve curves?", unless="curves"),
    Step("yeast_course", "Yeast during the run", yeast_course, "yeast_seen run gas?"),
    Step("harvest", "Harvest", harvest_of, "run", "nothing was weighed wet and dry"),
    Step("washing", "Settling and washing", washing_of, "run feed harvest ethanol_pct_vol?"),
    Step("yeast", "Yeast", yeast_of, "run feed harvest gas? washing?"),
    Step("recovery", "Recovery", recovery_of, "run harvest yeast?"),
    Step("protein", "Protein", protein_of, "run harvest"),
    Step("cost", "What it cost", cost_of_run, "run feed harvest? protein? estimate?"),
    Step("hold", "Autolysis", hold_of, "run", "no temperature of the hold was logged"),
    Step("autolysis", "Autolysis in time", autolysis_of, "run hold"),
    Step("keeping", "Keeping", keeping_of, "run"),
    Step("drying", "Drying", drying_of, "run harvest?"),
    Step("sugar_left_g_L", "Sugar left over", sugar_left_of, "run sugar_course?",
         "it was not measured; the element balance takes all sugar as used, the first page does not", pages=hidden),
    Step("amounts", "Amounts", amounts_of, "run feed sugar_left_g_L? ethanol_pct_vol? gas? yeast? estimate?",
         pages=hidden),
    Step("balance", "Balance", balance_of, "run feed ethanol_pct_vol? amounts gas_by_route? sugar_course?",
         "fewer than three of sugar, ethanol, CO2 and yeast are known", pages=lambda found: [found.closure().page()]),
    Step("reconciliation", "Balance", Balance.reconcile, "balance"),
    Step("adds_up", "Does it add up?", adds_up_of, "estimate"),
    Step("suspects", "What may be wrong", suspects_of, "estimate"),
    Step("blind", "Detection limits", blind_to, "estimate"),
    Step("next_measurements", "What to measure next", next_of, "estimate"),
    Step("pressure", "Pressure", pressure_of, "run gas"),
    Step("yields", "Yields", yields_of,
         "run amounts estimate? adds_up? reconciliation? limits? harvest? yeast? calibration? gas?",
         front=True,
         pages=lambda yields: [Page("Yields", [line for one in yields.values() for line in one.lines()])]),
    Step("shares", "Whose ± it is", shares_of, "yields", front=True),
)  # fmt: skip
