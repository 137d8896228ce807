"""A run, analysed: every step joined, correlations kept to the yields, doubts said."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from fermkit.balance.account import Balance
from fermkit.balance.detection import DetectionLimits
from fermkit.balance.explanations import Explanations
from fermkit.balance.measurements import MeasureNext
from fermkit.balance.reconciliation import Reconciliation
from fermkit.basis.cautions import Cautions, cautions_for
from fermkit.basis.checks import one_of
from fermkit.basis.errors import BalanceError, FitError, InputError
from fermkit.basis.written import Line, Page, Written, in_words, nominal
from fermkit.calibration.calibrate import Calibration
from fermkit.calibration.drift import Bracket
from fermkit.gas.curve import GasCurve, RouteComparison, compare_routes, produced
from fermkit.growth.comparison import CurveComparison, compare_curves
from fermkit.growth.fit import GrowthFit, fit_growth
from fermkit.growth.smoothing import SmoothReading, smooth_growth
from fermkit.harvest.drying import DryingCurve
from fermkit.harvest.hold import HoldLog
from fermkit.harvest.recovery import NetYeast, Protein, Recovery
from fermkit.matter.feed import Feed, YeastLimits, yeast_limits
from fermkit.run import balanced, harvested, steps
from fermkit.run.records import Run
from fermkit.run.yields import THEORETICAL, UncertaintyShares, Yield, in_one_sentence, yield_of
from fermkit.vessel.container import Pressure

T = TypeVar("T")

LIFTING: Final = {
    "energy without air": "To get more yeast of each gram of sugar: air, and sugar fed slowly; without air the energy "
    "of fermenting sets the ceiling.",
    "nitrogen": "To get more yeast: nitrogen may set the ceiling; add an ammonium salt, and plan it with plan_batch.",
    "phosphorus": "To get more yeast: phosphorus may set the ceiling; a phosphate salt brings nitrogen and phosphorus.",
    "sulfur": "To get more yeast: sulfur may set the ceiling; ammonium sulfate brings nitrogen and sulfur.",
}
"""What lifts each limit of the feed."""


@dataclass(frozen=True, repr=False)
class Analysis(Written):
    """Everything that a run's readings tell, and what they cannot tell.

    Each result is there, or None with the reason among `gaps`.

    Attributes
    ----------
    run : Run
    feed, limits : Feed, YeastLimits
        What went in, and the most yeast that it allows.
    released, gas : tuples of GasCurve
        CO2 that left, and CO2 made, by each route.
    routes : RouteComparison
        Weight against volume, where both were read.
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
    harvest : Harvest
    yeast : NetYeast
    hold, drying, recovery, protein : HoldLog, DryingCurve, Recovery, Protein
    pressure : Pressure
        If the vessel had been closed and never vented.
    amounts : mapping of ufloat
        Hexose used (negative) and what was made [g], as measured.
    balance, reconciliation : Balance, Reconciliation
    suspects : Explanations
        Which mistake could have made the gap, ranked.
    blind : DetectionLimits
        What these measurements could not have seen.
    next_measurements : MeasureNext
        Extra measurements, by what they would settle for their effort.
    yields : mapping of Yield
    gaps : tuple of str
        What cannot be told, and why.
    """

    run: Run
    feed: Feed | None
    limits: YeastLimits | None
    released: tuple[GasCurve, ...]
    gas: tuple[GasCurve, ...]
    routes: RouteComparison | None
    read: SmoothReading | None
    growth: GrowthFit | None
    curves: CurveComparison | None
    calibration: Calibration | None
    drift: Bracket | None
    samples: tuple[steps.Sample, ...]
    ethanol_pct_vol: Any
    harvest: harvested.Harvest | None
    yeast: NetYeast | None
    hold: HoldLog | None
    drying: DryingCurve | None
    recovery: Recovery | None
    protein: Protein | None
    pressure: Pressure | None
    amounts: Mapping[str, Any]
    balance: Balance | None
    reconciliation: Reconciliation | None
    suspects: Explanations | None
    blind: DetectionLimits | None
    next_measurements: MeasureNext | None
    yields: Mapping[str, Yield]
    gaps: tuple[str, ...]

    @property
    def consistent(self) -> bool | None:
        """Whether the measurements agree with one another; None where they cannot be tested."""
        tested = self.reconciliation is not None and self.reconciliation.degrees_of_freedom > 0
        return self.reconciliation.p_value >= 0.05 if tested and self.reconciliation is not None else None

    @property
    def verdict(self) -> str:
        """Whether it adds up, in words."""
        if self.reconciliation is None:
            return "The measurements cannot be held against one another."
        found = self.reconciliation
        test = f"chi² = {found.chi2:.1f} on {found.degrees_of_freedom}, {in_words(found.p_value)}"
        return f"Carbon and electrons: {found.verdict} ({test})."

    @property
    def answer(self) -> str:
        """The yield in one or two sentences."""
        if not self.yields:
            return "No yield can be given: " + " ".join(self.gaps[:2])
        first = self.yields.get("yeast_yield", next(iter(self.yields.values())))
        said = in_one_sentence(first)
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
        out = []
        if self.consistent is False and self.suspects is not None:
            out.append(f"First suspects: {_suspected(self.suspects)}.")
        if self.next_measurements is not None:
            best = self.next_measurements.ranked[0]
            out.append(f"To measure next: {best.name} (settles {best.share:.0%} of the doubt).")
        if "yeast_yield" in self.yields:
            shares = self.uncertainty_shares("yeast_yield").shares()
            act, share = next(iter(shares.items()), ("", 0.0))
            if share > 0.3:
                out.append(f"To know the yield better: “{act}” owns {share:.0%} of its variance; do that better first.")
        if self.limits is not None:
            out += [LIFTING[name] for name in self.limits.binding if name in LIFTING]
        return tuple(out)

    @property
    def cautions(self) -> Cautions:
        """What can hurt at the steps of this run."""
        done = ["fermenting", "eating"]
        done += ["measuring alcohol", "selling"] if self.calibration is not None else []
        done += ["closing", "venting"] if self.run.vessel.get("closed") in ("closed", "vented") else []
        done += ["autolysis"] if self.hold is not None else []
        done += ["drying", "boiling down"] if self.harvest is not None else []
        return cautions_for(*done)

    def _gas_lines(self) -> list[Line]:
        """When the gas came and how fast: from the readings alone, beside what the growth curves say."""
        found: Any
        if self.read is not None:
            found, limits, how = self.read, self.read.limits, f"over {self.read.window_h:.3g} h"
        elif self.growth is not None:
            found, limits, how = self.growth, self.growth.intervals(), f"{self.growth.curve.replace('_', ' ')} curve"
        else:
            return []
        low, high = (1000 * end for end in limits["max_rate"])
        how = "; ".join(word for word in (how, self._between("max_rate", 1000)) if word)
        return [
            Line("lag of the gas", found.lag_h, "h", self._between("lag_h", 1), limits["lag_h"]),
            Line("largest rate", found.max_rate * 1000, "mmol CO2/h", how, (low, high)),
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
        value = self.yields[name].per_g
        return UncertaintyShares(f"the {self.yields[name].product} yield", value, "g/g")

    def page(self) -> Page:
        """The run on one lab-book page."""
        lines = [line for found in self.yields.values() for line in found.lines()]
        lines += self._gas_lines()
        if self.ethanol_pct_vol is not None:
            lines.append(Line("ethanol at the end", self.ethanol_pct_vol, "% vol at 20 °C"))
        remarks = ["Invented data, for demonstration."] if self.run.invented else []
        remarks += [self.answer, self.verdict, *self.advice, *self.gaps]
        remarks += [f"Noticed: {finding}" for finding in self.run.findings]
        remarks += ["± is one standard uncertainty.", *self.cautions.sentences()]
        return Page(f"Yield report: {self.run.name}", lines, remarks)


def analyse(run: Run, *, curve: str = "best") -> Analysis:
    """Take a run from its raw readings to its yields.

    Parameters
    ----------
    run : Run
        From `read_run`.
    curve : str
        Growth curve for the gas: one of `fit_growth`, or "best", which takes the one with the lowest AICc.

    Returns
    -------
    Analysis
        Yields rest on reconciled amounts where the measurements agree with one another, and on the
        amounts as measured where they don't.
    """
    gaps: list[str] = []

    def attempt(what: str, step: Callable[[], T | None], missing: str) -> T | None:
        try:
            found = step()
        except (InputError, FitError, BalanceError) as problem:
            gaps.append(f"{what}: not told, since {problem.met}; needed: {problem.needed}.")
            return None
        if found is None and missing:
            gaps.append(f"{what}: not told, since {missing}.")
        return found

    fed = attempt("Feed", lambda: steps.feed_of(run), "run.toml lists no feed")
    limits = None if fed is None else attempt("Limits of the yeast", lambda: yeast_limits(fed, air=_air(run)), "")
    calibration = attempt("Ethanol", lambda: steps.calibration_of(run), "there is no table of standards")
    drift = None if calibration is None else attempt("Drift of the sensor", lambda: steps.drift_of(run), "")
    samples: tuple[steps.Sample, ...] = ()
    if calibration is not None:
        samples = attempt("Samples", lambda: steps.samples_of(run, calibration, drift), "") or ()
    pct_vol = steps.final_ethanol_pct_vol(samples)
    if samples and pct_vol is None:
        gaps.append("Ethanol: not told, since no sample was read inside the standards.")
    released = attempt("Gas", lambda: steps.gas_of(run, 0.0 if pct_vol is None else pct_vol) or None, "no gas was read")
    gas = attempt("CO2 made", lambda: _made(run, released or []), "") or ()
    routes = compare_routes(*_by_weight_first(released)) if released and len(released) == 2 else None
    curves = (
        attempt("Curves compared", lambda: compare_curves(**gas[0].readings), "") if gas and curve == "best" else None
    )
    read = (
        attempt("Gas without a growth curve", lambda: smooth_growth(**gas[0].readings, early_u=gas[0].u_early_mol), "")
        if gas
        else None
    )
    growth = curves.best if curves else attempt("Gas curve", lambda: _fitted(gas[0], curve), "") if gas else None
    harvest = attempt("Harvest", lambda: harvested.harvest_of(run), "nothing was weighed wet and dry")
    yeast = (
        None
        if fed is None or harvest is None
        else attempt("Yeast", lambda: balanced.yeast_of(run, fed, harvest, gas[0] if gas else None), "")
    )
    hold = attempt("Autolysis", lambda: harvested.hold_of(run), "no temperature of the hold was logged")
    drying = attempt("Drying", lambda: harvested.drying_of(run, harvest), "")
    recovered = None if harvest is None else attempt("Recovery", lambda: harvested.recovery_of(harvest), "")
    protein = None if harvest is None else attempt("Protein", lambda: harvested.protein_of(run, harvest), "")
    amounts = {} if fed is None else balanced.amounts_of(run, fed, pct_vol, gas, yeast, gaps)
    balance = attempt(
        "Balance",
        lambda: balanced.balance_of(run, fed, limits, pct_vol, amounts, gas) if fed else None,
        "fewer than three of sugar, ethanol, CO2 and yeast are known",
    )
    reconciliation = None if balance is None else attempt("Balance", balance.reconcile, "")
    tested = balance if reconciliation is not None and reconciliation.degrees_of_freedom > 0 else None
    suspects = None if tested is None else attempt("Suspects", tested.explain, "")
    blind = None if tested is None else attempt("Detection limits", tested.detection_limits, "")
    to_measure = None if tested is None else attempt("What to measure next", tested.measure_next, "")
    pressure = attempt("Pressure", lambda: _pressure(run, gas), "")
    if pressure is None and steps.under_airlock(run):
        gaps.append("Pressure: not worked out, since glass behind an airlock must never be closed.")
    sensor_dof = calibration.fitted.degrees_of_freedom if calibration is not None else float("inf")
    hours = float(gas[0].time_h[-1] - gas[0].time_h[0]) if gas else 0.0
    litre_hours = run.ledger.volume_L(0.0) * hours
    yields = _yields(
        amounts, reconciliation, limits, harvest, sensor_dof, litre_hours if nominal(litre_hours) else None
    )
    return Analysis(
        run, fed, limits, tuple(released or ()), tuple(gas), routes, read, growth, curves, calibration, drift, samples,
        pct_vol, harvest, yeast, hold, drying, recovered, protein, pressure, amounts, balance, reconciliation, suspects,
        blind, to_measure, yields, tuple(gaps),
    )  # fmt: skip


def _air(run: Run) -> str:
    """What the yeast had of air, as the limits ask it."""
    aeration = run.conditions.get("aeration")
    return "not stated" if aeration is None else "none" if aeration == "none" else "some"


def _made(run: Run, released: list[GasCurve]) -> tuple[GasCurve, ...]:
    conditions = run.conditions
    return tuple(
        curve if curve.counts == "produced" else produced(
            curve,
            liquid_L=run.ledger.amount(lambda _: 1.0, float("inf")),  # samples took their share of the store along
            headspace_L=steps.headspace_L(run),
            temperature_C=conditions.get("temperature_C", steps.ROOM_C),
            pH=conditions.get("pH"),
            saturation=(0.9, 1.1) if steps.has_stopped(curve) else (0.9, 1.3),
        )
        for curve in released
    )  # fmt: skip


def _by_weight_first(curves: list[GasCurve]) -> list[GasCurve]:
    return sorted(curves, key=lambda curve: curve.kind != "weight")


def _fitted(gas: GasCurve, curve: str) -> GrowthFit:
    return fit_growth(**gas.readings, curve="gompertz" if curve == "best" else curve)


def _pressure(run: Run, gas: tuple[GasCurve, ...]) -> Pressure | None:
    vessel = steps.vessel_of(run)
    return vessel.pressure(gas[0].total()) if vessel is not None and gas else None


def _yields(
    amounts: Mapping[str, Any],
    reconciliation: Reconciliation | None,
    limits: YeastLimits | None,
    harvest: harvested.Harvest | None,
    sensor_dof: float,
    litre_hours: Any,
) -> dict[str, Yield]:
    agreed = reconciliation is not None and reconciliation.p_value >= 0.05
    grams = dict(amounts) | (dict(reconciliation.amounts) if agreed and reconciliation is not None else {})
    if "hexose" not in grams:
        return {}
    used = -grams["hexose"]
    out = {}

    def add(name: str, product: str, made_g: Any, carbon_mol: Any, limit: Any, note: str) -> None:
        out[name] = yield_of(name, product, made_g, used, carbon_mol, limit, note, sensor_dof, litre_hours)

    if "yeast" in grams and limits is not None:
        carbon, (_, most) = grams["yeast"] * balanced.carbon_per_g("yeast"), limits.lowest_g
        note = f"the most that this feed allows (by {' or '.join(limits.binding)})"
        add("yeast_yield", "dry yeast", grams["yeast"], carbon, most / used, note)
    for product, note in (("ethanol", "the theoretical 0.5114 g/g"), ("CO2", "the theoretical 0.4886 g/g")):
        if product in grams:
            carbon = grams[product] * balanced.carbon_per_g(product)
            add(f"{product.lower()}_yield", product, grams[product], carbon, THEORETICAL[product], note)
    if harvest is not None and harvest.extract_g is not None:
        dry = harvest.product_dry_g
        add("extract_yield", "dry extract", harvest.extract_of_all_g, None, dry / used, "the dry matter harvested")
    return out


def _suspected(found: Explanations) -> str:
    """The best group of explanations, each with what it would have to be."""
    group = [e for e in found.groups[0] if e.weight >= 0.01] or list(found.groups[0][:1])
    words = " or ".join(f"{e.name} ({e.in_one_line()})" for e in group[:3])
    return f"{words}; weight {found.group_weight(0):.0%}"
