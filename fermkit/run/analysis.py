"""A run, analysed: every step joined, correlations kept to the yields, doubts said."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, fields
from types import SimpleNamespace
from typing import Any, Final

from fermkit.balance.account import Balance
from fermkit.balance.reconciliation import Reconciliation
from fermkit.basis.cautions import Cautions, cautions_for
from fermkit.basis.checks import one_of
from fermkit.basis.written import Line, Number, Page, Written
from fermkit.batch.estimate import AddsUp, Estimate, Gains
from fermkit.batch.impossible import Sort
from fermkit.batch.own_sums import OwnSums
from fermkit.batch.progress import Progress
from fermkit.batch.readings import Reading
from fermkit.batch.respired import Respired
from fermkit.batch.suspects import Limits, Suspects
from fermkit.calibration.calibrate import Calibration
from fermkit.calibration.drift import Bracket
from fermkit.calibration.turbidity import DryWeightLine
from fermkit.gas.curve import GasCurve, RouteComparison
from fermkit.growth.comparison import CurveComparison
from fermkit.growth.fit import GrowthFit
from fermkit.growth.smoothing import SmoothReading
from fermkit.harvest.autolysis import Autolysis
from fermkit.harvest.cost import Cost
from fermkit.harvest.drying import DryingCurve
from fermkit.harvest.hold import HoldLog
from fermkit.harvest.keeping import Keeping
from fermkit.harvest.recovery import NetYeast, Protein, Recovery
from fermkit.harvest.washing import Washing
from fermkit.matter.feed import Feed, YeastLimits
from fermkit.run.alcohol import Sample
from fermkit.run.around import Around, Room
from fermkit.run.first_page import first_words, headline, in_short, odd, said_of, to_do, would_it_hold
from fermkit.run.harvested import Harvest
from fermkit.run.records import Run
from fermkit.run.steps import STEPS, not_empty
from fermkit.run.sugar_in_time import SugarCourse
from fermkit.run.yeast_seen import YeastAt, YeastCourse
from fermkit.run.yields import UncertaintyShares, Yield, leading, shares_of
from fermkit.vessel.container import Pressure


@dataclass(frozen=True, repr=False)
class Analysis(Written):
    """Everything that a run's readings tell, and what they cannot tell.

    Each result is there, or None with the reason among `gaps`.

    Attributes
    ----------
    run : Run
    feed, limits : Feed, YeastLimits
        What went in, and the most yeast that it allows.
    sugar_course : SugarCourse
        Hydrometer, refractometer and sugar tests in time.
    released, gas : tuples of GasCurve
        CO2 that left, and CO2 made, by each route.
    routes : RouteComparison
        The routes to the gas held against one another, where several were read.
    dissolved : tuple of Reading
        CO2 in the liquid at the end, as measured.
    around, room : Around, Room
        Warmth and pH as logged; CO2 in the air of the room.
    estimate : Estimate
        The best answer for every quantity of the batch, whatever was measured: ``estimate["co2"]``.
    respired : Respired
        With an air pump: what was respired, what fermented, and how to feed.
    own_sums : OwnSums
        What the person worked out, held against the estimate.
    progress : Progress
        How the run stands, from its gas so far.
    read : SmoothReading
        Lag, largest rate and end of the gas, from the readings alone.
    growth : GrowthFit
        The growth curve that follows the gas best; its numbers hold if that curve is the truth.
    curves : CurveComparison
        All curves on the same gas, and how far they disagree on lag and rate.
    calibration, drift : Calibration, Bracket
        All standards together; those before against those after.
    samples : tuple of Sample
    ethanol_pct_vol : ufloat
        Content at the end [% vol at 20 °C].
    turbidity_line : DryWeightLine
        Optical density against dry weight.
    yeast_seen, yeast_course : tuple of YeastAt, YeastCourse
        Yeast counted or read as cloudiness during the run; its growth, beside the gas.
    harvest : Harvest
    washing : Washing
        What was poured off, what the paste's liquid kept, and yeast lost with it.
    yeast : NetYeast
    hold, drying, recovery, protein : HoldLog, DryingCurve, Recovery, Protein
    autolysis : tuple of Autolysis
        What dissolved in time during the hold.
    cost : Cost
        What it cost, from the prices that are told.
    keeping : Keeping
        What may grow in the product, and salt and purines of a portion.
    pressure : Pressure
        If the vessel had been closed and never vented.
    amounts : mapping of ufloat
        Hexose used (negative) and what was made [g], as measured.
    balance, reconciliation : Balance, Reconciliation
    adds_up : AddsUp
        Whether all readings can belong to one batch: the one verdict of the run.
    suspects : Suspects
        Which mistakes could have made the readings what they are, ranked; none where nothing alarms.
    blind : Limits
        What these readings could not have shown.
    next_measurements : Gains
        Readings not yet taken, by how much they would narrow the estimate.
    yields : mapping of Yield
    gaps : tuple of str
        What cannot be told, and why.
    """

    run: Run
    feed: Feed | None = None
    sugar_course: SugarCourse | None = None
    limits: YeastLimits | None = None
    calibration: Calibration | None = None
    drift: Bracket | None = None
    samples: tuple[Sample, ...] = ()
    ethanol_pct_vol: Number | None = None
    released: tuple[GasCurve, ...] = ()
    gas: tuple[GasCurve, ...] = ()
    routes: RouteComparison | None = None
    dissolved: tuple[Reading, ...] = ()
    around: Around | None = None
    room: Room | None = None
    estimate: Estimate | None = None
    respired: Respired | None = None
    own_sums: OwnSums | None = None
    progress: Progress | None = None
    read: SmoothReading | None = None
    curves: CurveComparison | None = None
    growth: GrowthFit | None = None
    turbidity_line: DryWeightLine | None = None
    yeast_seen: tuple[YeastAt, ...] = ()
    yeast_course: YeastCourse | None = None
    harvest: Harvest | None = None
    washing: Washing | None = None
    yeast: NetYeast | None = None
    recovery: Recovery | None = None
    protein: Protein | None = None
    cost: Cost | None = None
    hold: HoldLog | None = None
    autolysis: tuple[Autolysis, ...] = ()
    keeping: Keeping | None = None
    drying: DryingCurve | None = None
    sugar_left_g_L: Number | None = None
    amounts: Mapping[str, Number] = field(default_factory=dict)
    balance: Balance | None = None
    reconciliation: Reconciliation | None = None
    adds_up: AddsUp | None = None
    suspects: Suspects | None = None
    blind: Limits | None = None
    next_measurements: Gains | None = None
    pressure: Pressure | None = None
    yields: Mapping[str, Yield] = field(default_factory=dict)
    shares: UncertaintyShares | None = None
    gaps: tuple[str, ...] = ()

    def sections(self) -> tuple[tuple[str, Page], ...]:
        """Every result that is there, by its name, as pages: what report, JSON and workbook show."""
        out = []
        for step in sorted(STEPS, key=lambda step: not step.front):
            result = getattr(self, step.name, None)
            if not_empty(result) and not (step.unless and not_empty(getattr(self, step.unless))):
                out += [(step.name, page) for page in step.shown(result)]
        return tuple(out)

    @property
    def consistent(self) -> bool | None:
        """Whether the measurements agree with one another; None where they cannot be tested."""
        if odd(self.estimate, Sort.IMPOSSIBLE):
            return False
        return None if self.adds_up is None else not self.adds_up.alarm

    @property
    def verdict(self) -> str:
        """Whether it adds up, in words."""
        if self.estimate is None:
            return "The measurements cannot be held against one another."
        return self.estimate.adds_up.says

    @property
    def answer(self) -> str:
        """The yield in one or two sentences."""
        if not self.yields:
            none = "No yield can be given: " + " ".join(self.gaps[:2])
            return none if self.estimate is None else in_short(self.estimate)
        said = said_of(self.yields[leading(self.yields)])
        if self.yeast is not None and not self.yeast.growth_shown:
            said += " No growth is shown: the harvest is within error of the inoculum."
        return said

    @property
    def carbon(self) -> tuple[Any, dict[str, Any]]:
        """Carbon of the sugar used, and of each product [mol]: reconciled where the measurements agree."""
        if self.balance is None or self.reconciliation is None:
            return 0.0, {}
        return self.balance.flows("carbon", "reconciled" if self.consistent else "reported")

    @property
    def advice(self) -> tuple[str, ...]:
        """What to look at, to change and to measure next, in the order in which it matters."""
        return tuple(to_do(self))

    @property
    def cautions(self) -> Cautions:
        """What can hurt at the steps of this run."""
        done = ["fermenting", "eating"]
        done += ["measuring alcohol", "selling"] if self.calibration is not None else []
        done += ["closing", "venting"] if self.run.vessel.closed in ("closed", "vented") else []
        done += ["selling"] if self.cost is not None else []
        done += ["keeping"] if self.keeping is not None else []
        done += ["autolysis"] if self.hold is not None else []
        done += ["drying", "boiling down"] if self.harvest is not None else []
        return cautions_for(*done)

    @property
    def headline(self) -> list[Line]:
        """What became of the sugar, with the pressure if the vessel had stayed closed: each with how it is known."""
        return headline(self.estimate)

    @property
    def first_words(self) -> list[str]:
        """What must be said first: how far the run is, what cannot be, doubts about the readings."""
        return first_words(self)

    def _gas_lines(self) -> list[Line]:
        """When the gas came and how fast: from the readings alone, beside what the growth curves say."""
        found: Any
        if self.read is not None:
            found, limits, how = self.read, self.read.limits, f"steepest line over {self.read.window_h:.3g} h"
        elif self.growth is not None:
            found, limits, how = self.growth, self.growth.intervals(), f"{self.growth.curve.replace('_', ' ')} curve"
        else:
            return []
        low, high = (1000 * end for end in limits["max_rate"])
        lag, rate = ("; ".join(filter(None, (how, self._between(*of)))) for of in (("lag_h", 1), ("max_rate", 1000)))
        return [
            Line("lag of the gas", found.lag_h, "h", lag, limits["lag_h"]),
            Line("largest rate", found.max_rate * 1000, "mmol CO2/h", rate, (low, high)),
        ]

    def _between(self, quantity: str, times: float) -> str:
        """How far the growth curves are from one another."""
        if self.curves is None:
            return ""
        low, high = (value * times for value in self.curves.spread(quantity))
        return f"between growth curves {low:.3g} to {high:.3g}"

    def uncertainty_shares(self, name: str = "yeast_yield") -> UncertaintyShares:
        """Which act in the kitchen owns which share of a yield's variance.

        Parameters
        ----------
        name : str
            A name from `yields`, such as "yeast_yield".

        Returns
        -------
        UncertaintyShares
        """
        one_of(name, self.yields, "yield")
        return shares_of(self.yields, name)

    def page(self) -> Page:
        """The run on one lab-book page."""
        lines = self.headline
        lines += [line for found in self.yields.values() for line in found.lines()]
        lines += self._gas_lines()
        if self.ethanol_pct_vol is not None:
            lines.append(Line("ethanol at the end", self.ethanol_pct_vol, "% vol at 20 °C"))
        remarks = ["Invented data, for demonstration."] if self.run.invented else []
        remarks += [*self.first_words, *([in_short(self.estimate)] if self.estimate is not None else [])]
        remarks += [self.verdict, self.answer, f"Would the vessel have held? {would_it_hold(self)}"]
        remarks += [*self.advice, *self.gaps]
        remarks += [f"Noticed: {finding}" for finding in self.run.findings if finding not in self.run.doubts]
        remarks += ["± is one standard uncertainty.", *self.cautions.sentences()]
        return Page(f"Yield report: {self.run.name}", lines, remarks)


FIELDS: Final = frozenset(one.name for one in fields(Analysis))


def analyse(run: Run, *, curve: str = "best", only: Collection[str] = ()) -> Analysis:
    """Take a run from its raw readings to its yields.

    Parameters
    ----------
    run : Run
        From `read_run`.
    curve : str
        Growth curve for the gas: one of `fit_growth`, or "best", which takes the one with the lowest AICc.
    only : collection of str
        Names of `steps.STEPS` to work out, where time matters more than the rest; all if empty.

    Returns
    -------
    Analysis
        Yields rest on reconciled amounts where the measurements agree with one another, and on the
        amounts as measured where they don't. A step that fails costs its own result only; why stands in ``gaps``.
    """
    found, gaps = SimpleNamespace(run=run, curve=curve), []
    one_of_all = [step.name for step in STEPS]
    for name in only:
        one_of(name, one_of_all, "result")
    for step in STEPS:
        empty: tuple[Any, list[str]] = ((() if step.each else None), [])
        result, why = step.done(found) if not only or step.name in only else empty
        setattr(found, step.name, result)
        gaps += [f"{step.title}: not told, since {reason}." for reason in why]
    told = {name: value for name, value in vars(found).items() if value is not None and name in FIELDS}
    return Analysis(**told, gaps=tuple(dict.fromkeys(gaps)))
