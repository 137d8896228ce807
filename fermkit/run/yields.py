"""How good the run was: each yield against its limit, and whose uncertainty it carries."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from math import sqrt
from types import MappingProxyType
from typing import Final

from fermkit.balance.reconciliation import Reconciliation
from fermkit.basis.budget import Act, budget_of
from fermkit.basis.checks import one_of
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.statistics import effective_degrees_of_freedom, student
from fermkit.basis.written import Line, Number, Page, Written, nominal, plus_minus, rounded, uncertainty
from fermkit.batch.estimate import AddsUp, Estimate, Mark
from fermkit.calibration.calibrate import Calibration
from fermkit.calibration.readback import REPLICATES
from fermkit.calibration.standards import SCATTER
from fermkit.gas.curve import GasCurve
from fermkit.harvest.recovery import NetYeast
from fermkit.matter import usual
from fermkit.matter.composition import compound
from fermkit.matter.feed import YEAST_HOLDS, YeastLimits, span
from fermkit.run.balanced import carbon_per_g
from fermkit.run.harvested import Harvest, extract_of_all_g
from fermkit.run.records import Run

_ETHANOL, _CO2, _HEXOSE = compound("ethanol"), compound("CO2"), compound("hexose")

THEORETICAL: Final[Mapping[str, float]] = MappingProxyType({
    "ethanol": 2 * _ETHANOL.molar_mass / _HEXOSE.molar_mass,
    "CO2": 2 * _CO2.molar_mass / _HEXOSE.molar_mass,
})  # fmt: skip
"""g per g hexose when all of it is fermented, C6H12O6 → 2 C2H5OH + 2 CO2 (Gay-Lussac): 0.5114 and 0.4886."""


@dataclass(frozen=True, repr=False)
class Yield(Written):
    """What came of the sugar: one product, per gram of hexose used.

    Attributes
    ----------
    name : str
        As `Analysis` calls it: "yeast_yield".
    product : str
    per_g : ufloat
        Gram of product per gram of hexose used.
    per_carbon : ufloat or None
        Carbon in the product per carbon in the sugar used [mol/mol]; None where its carbon is not known.
    limit : float or ufloat
        The most that is possible; for yeast what is usual at best, with its ± [g/g].
    limit_note : str
        What sets the limit.
    dof : float
        Effective degrees of freedom of the uncertainty.
    per_L_h : ufloat or None
        Gram of product per litre of liquid and hour of the run [g/(L h)]; None where the hours are not known.
    mark : Mark
        Whether the product was measured, or worked out from the other readings and the balances.
    """

    name: str
    product: str
    per_g: Number
    per_carbon: Number | None
    limit: Number
    limit_note: str
    dof: float = float("inf")
    per_L_h: Number | None = None
    mark: Mark = Mark.MEASURED

    @property
    def share_of_limit(self) -> Number:
        """The yield over its limit; NaN where the limit is nothing."""
        return self.per_g / self.limit if nominal(self.limit) else float("nan")

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Where the true yield lies [g/g]: Student's factor on the effective degrees of freedom."""
        half = student(self.dof, level) * uncertainty(self.per_g)
        return nominal(self.per_g) - half, nominal(self.per_g) + half

    @property
    def known(self) -> str:
        """How it is known, where it was not measured; else nothing."""
        return "" if self.mark is Mark.MEASURED else f"the {self.product} was not measured; {FROM[self.mark]}"

    def lines(self) -> list[Line]:
        """The yield, the same by carbon, and how far it is from its limit."""
        out = [Line(f"{self.product}, per g of hexose used", self.per_g, "g/g", self.known, self.interval())]
        if self.per_carbon is not None:
            out.append(Line(f"{self.product}, by carbon", self.per_carbon * 100, "% of the sugar's carbon"))
        if self.per_L_h is not None:
            note = "over the whole run"
            out.append(Line(f"{self.product}, per litre and hour", self.per_L_h * 1000, "mg/(L h)", note))
        of = "what is usual" if self.name == "yeast_yield" else "its limit"
        out.append(Line(f"{self.product}, of {of}", self.share_of_limit * 100, "%", self.limit_note))
        return out

    def page(self) -> Page:
        """The yield as a page."""
        return Page(f"Yield of {self.product}", self.lines())


FROM: Final = {
    Mark.WORKED_OUT: "worked out from the rest", Mark.ASSUMED: "assumed: what is usual",
    Mark.RECIPE: "assumed: what is usual for the recipe",
}  # fmt: skip
"""Where a yield that was not measured comes from."""


def yield_of(
    name: str,
    product: str,
    grams: Number,
    hexose_g: Number,
    carbon_mol: Number | None,
    limit: Number,
    note: str,
    sensor_dof: float = float("inf"),
    litre_hours: Number | None = None,
    mark: Mark = Mark.MEASURED,
) -> Yield:
    """A yield from grams of product and grams of hexose used, correlated as they are.

    `sensor_dof` are the degrees of freedom behind the scatter of the alcohol sensor, the one part that rests on
    few readings. `litre_hours` is the liquid times the length of the run [L h], where known.
    """
    per_g = grams / hexose_g
    per_carbon = None if carbon_mol is None else carbon_mol / (hexose_g * 6 / _HEXOSE.molar_mass)
    squares = dict(zip((budget := budget_of(per_g)).acts, budget.contributions**2))
    few = sum(squares.pop(act, 0.0) for act in (SCATTER, REPLICATES))
    dof = effective_degrees_of_freedom([(few, sensor_dof), (sum(squares.values()), float("inf"))])
    return Yield(
        name, product, per_g, per_carbon, limit, note, dof, None if litre_hours is None else grams / litre_hours, mark
    )


@dataclass(frozen=True, repr=False)
class UncertaintyShares(Written):
    """Which act owns which share of a value's variance, and what halving it would gain."""

    name: str
    value: Number
    unit: str

    @cached_property
    def acts(self) -> Mapping[Act, float]:
        """The standard uncertainty that each act brings in, largest first."""
        budget = budget_of(self.value)
        return dict(zip(budget.acts, map(float, budget.contributions)))

    def shares(self) -> dict[Act, float]:
        """Share of the variance by act, largest first; they add up to 1."""
        total = sum(u**2 for u in self.acts.values())
        return {act: u**2 / total for act, u in self.acts.items()} if total else {}

    def halved(self, act: Act) -> float:
        """The standard uncertainty of the value if the act were done twice as well."""
        if act not in self.acts:
            one_of(act.key, [one.key for one in self.acts], "act")
        return sqrt(sum((u / 2 if one == act else u) ** 2 for one, u in self.acts.items()))

    def page(self) -> Page:
        """The shares as a page."""
        lines = [
            Line(str(act), f"{share:.1%}", "", f"done twice as well: ± {rounded(0, self.halved(act))[1]} {self.unit}")
            for act, share in self.shares().items()
            if share >= 0.001
        ]
        small = sum(share < 0.001 for share in self.shares().values())
        note = (f"{small} further acts own less than 0.1 % each.",) if small else ()
        return Page(f"Who owns the uncertainty of {self.name}, {plus_minus(self.value, self.unit)}", lines, note)


def yields_of(
    run: Run,
    amounts: Mapping[str, Number],
    estimate: Estimate | None,
    adds_up: AddsUp | None,
    reconciliation: Reconciliation | None,
    limits: YeastLimits | None,
    harvest: Harvest | None,
    yeast: NetYeast | None,
    calibration: Calibration | None,
    gas: tuple[GasCurve, ...],
) -> dict[str, Yield]:
    """Each product over the sugar used: of reconciled amounts where the measurements agree, of the estimate where too
    few were measured to say so, else as measured."""
    grams, marks = _grams(amounts, estimate, adds_up, reconciliation)
    used = -grams["hexose"]
    if not nominal(used) > 0:
        raise InputError(f"{nominal(used):.3g} g of sugar were used", "some sugar that was used", "check the feed")
    hours = float(gas[0].time_h[-1] - gas[0].time_h[0]) if gas else 0.0
    litre_hours = run.ledger.volume_L(0.0) * hours
    dof = calibration.fitted.degrees_of_freedom if calibration is not None else float("inf")
    out = {}

    def add(name: str, product: str, made_g: Number, carbon_mol: Number | None, limit: Number, note: str) -> None:
        out[name] = yield_of(
            name, product, made_g, used, carbon_mol, limit, note, dof, litre_hours if nominal(litre_hours) else None,
            marks.get(product.removeprefix("dry "), Mark.MEASURED),
        )  # fmt: skip

    if "yeast" in grams:
        best, note = _yeast_at_best(limits, used, run.conditions.aeration == "air pump")
        add("yeast_yield", "dry yeast", grams["yeast"], grams["yeast"] * carbon_per_g("yeast"), best, note)
    for product, note in LIMIT_NOTES.items():
        if product in grams:
            carbon = grams[product] * carbon_per_g(product)
            add(f"{product.lower()}_yield", product, grams[product], carbon, THEORETICAL[product], note)
    extract = None if harvest is None else extract_of_all_g(run, harvest, yeast)
    if harvest is not None and extract is not None:
        dry = harvest.product_dry_g
        add("extract_yield", "dry extract, net", extract, None, dry / used, "the dry matter harvested")
    return out


LIMIT_NOTES: Final = {"ethanol": "the theoretical 0.5114 g/g", "CO2": "the theoretical 0.4886 g/g"}
"""What limits each product of fermenting, as a page says it."""


def estimated_yields(found: Estimate, limits: YeastLimits | None, pump: bool) -> dict[str, Yield]:
    """The yields by the estimate alone, whatever was measured, each with its mark."""
    used, out = found.amount("sugar_used"), {}
    best, note = _yeast_at_best(limits, used, pump)
    of = {"yeast": ("dry yeast", best, note)}
    of |= {name: (name, THEORETICAL[name], words) for name, words in LIMIT_NOTES.items()}
    for stream, (product, limit, words) in of.items():
        grams, mark = found.amount(OF_ESTIMATE[stream]), found[OF_ESTIMATE[stream]].mark
        name = f"{stream.lower()}_yield"
        out[name] = yield_of(name, product, grams, used, grams * carbon_per_g(stream), limit, words, mark=mark)
    return out


def _yeast_at_best(limits: YeastLimits | None, used_g: Number, pump: bool) -> tuple[Number, str]:
    """The dry yeast that is usual at best from a gram of the sugar used [g/g], with its ±, and what sets it.

    What fermenting gives the energy for; or an element of which the feed holds less than that takes. A feed that seems
    to hold next to nothing of an element is silent about it, and then sets no limit at all.
    """
    best = usual.YEAST_AT_BEST_WITH_AIR if pump else usual.YEAST_AT_BEST
    sugar = nominal(used_g)
    high, low, binds = best.high * sugar, best.low * sugar, ""
    held = {} if limits is None else {name: tuple(map(nominal, limits.ranges()[name])) for name in YEAST_HOLDS}
    if all(most > usual.NOT_TOLD * sugar for _, most in held.values()):
        for element, (least, most) in held.items():
            if most < high:
                high, low, binds = most, least, element
    if not binds:
        air = "with" if pump else "without"
        return best.value(EVENLY), f"what is usual at best (by energy {air} air: {best.low:g} to {best.high:g} g/g)"
    grams = rectangle(low, high, Act("limit of the feed", f"the {binds} of the feed"))
    return grams / used_g, f"what is usual at best (by {binds}: {span(low, high)} g of yeast from this feed)"


EVENLY: Final = 3.0**-0.5
"""Standard uncertainty of a rectangle over its half-width."""


def _grams(
    amounts: Mapping[str, Number],
    estimate: Estimate | None,
    adds_up: AddsUp | None,
    reconciliation: Reconciliation | None,
) -> tuple[dict[str, Number], dict[str, Mark]]:
    """Grams of sugar used (negative) and made, and how what was not measured itself is known."""
    if reconciliation is not None:
        if adds_up is not None and adds_up.alarm:
            return dict(amounts), {}
        grams = dict(amounts) | dict(reconciliation.amounts)
        return grams, dict.fromkeys(grams.keys() - amounts.keys(), Mark.WORKED_OUT)
    if estimate is None:
        return dict(amounts), {}
    marks = {name: estimate[key].mark for name, key in OF_ESTIMATE.items()}
    known = {name: key for name, key in OF_ESTIMATE.items() if marks[name] in (Mark.MEASURED, Mark.WORKED_OUT)}
    return {"hexose": -estimate.amount("sugar_used")} | {n: estimate.amount(key) for n, key in known.items()}, marks


OF_ESTIMATE: Final = {"ethanol": "ethanol", "CO2": "co2", "yeast": "yeast"}
"""Streams, and what the estimate calls them."""


def leading(yields: Mapping[str, Yield]) -> str:
    """The name of the yield that a page begins with: the yeast's, where there is one."""
    return "yeast_yield" if "yeast_yield" in yields else next(iter(yields))


def shares_of(yields: Mapping[str, Yield], name: str | None = None) -> UncertaintyShares:
    """Which act owns which share of the variance of a yield, of the leading one unless another is named."""
    found = yields[name or leading(yields)]
    return UncertaintyShares(f"the {found.product} yield", found.per_g, "g/g")
