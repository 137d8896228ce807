"""How often the 95 % intervals of the report hold the truth, from the rows of a run folder to the yields.

    python tests/benchmarks/pipeline_coverage.py [RUNS [KITCHEN …]]

RUNS (100 if not given) for each kitchen and each of the three kinds of yeast in `structures`. Each run is a batch with
its own true sugar content, yeast, volumes, by-products, losses …, about what its own run file states; its readings are
drawn with their errors and written as text; `analyse` sees nothing else.

Two tables: by kitchen and kind of yeast, and by kind of yeast over all kitchens (Markdown), then the cells of amounts
and yields below 92 %. Columns: whether the interval is printed as such or is the printed ± times 1.96; how often it
holds the truth [%] with the standard error of that share; the median width as a share of the truth [%]; the mean of
(value − truth) in printed standard uncertainties; in how many runs the number is given [%]; and in how many of those
where it is a doubt is said beside it [%]. Growth curves, of which no 95 % is said, are left out for speed.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from fermkit.basis.constants import L_BAR_GAS_CONSTANT
from fermkit.basis.written import nominal, uncertainty
from fermkit.gas.curve import GasCurve
from fermkit.growth.smoothing import SmoothReading, smooth_growth
from fermkit.matter.composition import molar_mass
from fermkit.matter.properties import ethanol_pct_vol_from_concentration, water_density
from fermkit.run.analysis import Analysis, analyse
from fermkit.run.records import run_from
from fermkit.teach.batches import Truth
from fermkit.teach.fermentation import ferment
from fermkit.teach.kitchen import Kitchen, draw_batch, readings
from fermkit.teach.recipe import drawn_ways

sys.path.insert(0, str(Path(__file__).parent))
from structures import GENERATORS

HARVEST = {"share_harvested": 0.93, "u_share_harvested": 0.03}

FIRST_SEED = 1_000_000
"""Runs that were never looked at while the methods were worked on."""

KITCHENS = {
    "volume": Kitchen(gas="volume", **HARVEST),
    "weight": Kitchen(gas="weight", **HARVEST),
    "both": Kitchen(gas="both", **HARVEST),
    "starved": Kitchen(gas="volume", phosphate_g=0.0, usable_nitrogen=(0.0005, 0.0015), hours=30.0, **HARVEST),
    "closed keg": Kitchen(
        gas="pressure", molasses_g=45.0, u_feed_g=0.3, phosphate_g=1.0, yeast_g=1.5, u_yeast_g=0.03, total_L=2.0,
        u_total_L=0.01, liquid_L=1.5, u_liquid_L=0.01, temperature_C=25.0, kind="keg", material="steel",
        closed="closed", rated_bar=8.0, hours=36.0, samples_h=(), dilutions=(1, 2), **HARVEST,
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Held:
    """One number of one report beside the truth."""

    what: str
    kind: str
    value: float
    u: float
    low: float
    high: float
    true: float
    doubted: bool = False


def plain(what: str, value: object, true: float, doubted: bool = False) -> Held:
    """A number that is printed with its ± only."""
    middle, u = nominal(value), uncertainty(value)
    return Held(what, "1.96 u", middle, u, middle - 1.96 * u, middle + 1.96 * u, true, doubted)


def with_limits(what: str, value: object, limits: tuple[float, float], true: float, doubted: bool = False) -> Held:
    """A number that is printed with an interval."""
    return Held(what, "interval", nominal(value), uncertainty(value), *limits, true, doubted)


def everything(a: Analysis, truth: Truth, kitchen: Kitchen) -> Iterator[Held]:
    """Each number with an uncertainty that the report prints and whose truth is known."""
    true, used = truth.amounts, truth.amounts["hexose consumed"]
    made = {"hexose": -used, "ethanol": true["ethanol made"], "CO2": true["CO2 made"], "yeast": true["yeast grown"],
            "glycerol": true["glycerol"]}  # fmt: skip
    at_odds = a.consistent is False
    dry = _paste(truth, kitchen)
    loss, share = truth.batch.lost_share, truth.batch.extract_share * (1 - truth.batch.lost_share)
    yields = {"yeast_yield": made["yeast"], "ethanol_yield": made["ethanol"], "co2_yield": made["CO2"]}
    for name, found in a.yields.items():
        grams = yields.get(name, share * _grown(truth, kitchen))
        yield with_limits(f"yield: {found.product}", found.per_g, found.interval(), grams / used, at_odds)
    if a.feed is not None:
        yield plain("feed: sugar as hexose", a.feed.hexose_g, true["hexose fed"])
        yield plain("feed: non-yeast solids", a.feed.non_yeast_solids_g, truth.batch.solids_g)
    for name, amount in a.amounts.items():
        yield plain(f"as measured: {name}", amount, made[name])
    if a.balance is not None:
        for extra in a.balance.extra:
            expected = sum(share * made[name] for name, share in extra.coefficients.items())
            yield plain(f"as measured: {extra.name}", extra.value, expected)
    if a.reconciliation is not None:
        for name, amount in a.reconciliation.amounts.items():
            if name in made:
                yield plain(f"reconciled: {name}", amount, made[name], at_odds)
    yield from _gas(a, truth)
    yield from _alcohol(a, truth, kitchen)
    yield from _estimate(a, truth, kitchen)
    if a.harvest is not None:
        yield plain("harvest: dry paste", a.harvest.product_dry_g, dry)
    if a.yeast is not None:
        yield plain("harvest: net dry yeast", a.yeast.net_g, made["yeast"])
    if a.recovery is not None:
        yield plain("harvest: dry matter missing", a.recovery.missing_g, loss * 0.75 * dry)
    if a.drying is not None:
        extract = share * 0.75 * dry
        yield plain("drying: comes to rest at", a.drying.end_g, extract, bool(a.drying.doubts))
    if a.pressure is not None:
        gauge = float(truth.series["pressure_bar"][-1]) - truth.batch.barometer_bar
        yield with_limits("pressure, gauge", a.pressure.gauge_bar, a.pressure.gauge_limits, gauge)


def _paste(truth: Truth, kitchen: Kitchen) -> float:
    """True dry matter of the paste: what is left after the last sample, with the solids carried along."""
    left = 1 - kitchen.last_sample_mL / 1000 / float(truth.series["liquid_L"][-1])
    solids = truth.batch.carried_share * truth.batch.solids_g
    return (float(truth.series["yeast_g"][-1]) * left + solids) * truth.batch.harvested_share


def _grown(truth: Truth, kitchen: Kitchen) -> float:
    """True yeast in the paste that grew: without the solids carried along and the inoculum's share [g]."""
    dry = _paste(truth, kitchen)
    solids = truth.batch.carried_share * truth.batch.solids_g * truth.batch.harvested_share
    return (dry - solids) * (1 - truth.batch.yeast_g / (truth.batch.yeast_g + truth.amounts["yeast grown"]))


def _estimate(a: Analysis, truth: Truth, kitchen: Kitchen) -> Iterator[Held]:
    """What stands first on the page, and every further quantity of the estimate whose truth is known."""
    if a.estimate is None:
        return
    true, dry = truth.amounts, _paste(truth, kitchen)
    used, co2 = min(true["hexose consumed"], true["hexose fed"]), molar_mass("CO2")
    expected = {
        "sugar_fed": true["hexose fed"], "sugar_used": used, "sugar_left": true["hexose fed"] - used,
        "ethanol": true["ethanol made"], "co2": true["CO2 made"], "yeast": true["yeast grown"],
        "glycerol": true["glycerol"], "oxygen": true["oxygen used"], "paste": dry,
        "co2_in_gas_space": truth.series["co2_headspace_mol"][-1] * co2,
        "co2_in_liquid": truth.series["co2_dissolved_mol"][-1] * co2,
    }  # fmt: skip
    if truth.batch.closed:
        expected["pressure"] = float(truth.series["pressure_bar"][-1]) - truth.batch.barometer_bar
    for key, value in expected.items():
        if key in a.estimate:
            found = a.estimate[key]
            limits, odd = (found.low, found.high), a.estimate.adds_up.alarm
            yield Held(f"estimate: {found.words}", "interval", found.value, found.u, *limits, value, odd)


def _gas(a: Analysis, truth: Truth) -> Iterator[Held]:
    for curve in a.gas:
        yield plain(f"gas: CO2 made, by {curve.kind}", curve.total(), truth.amounts["CO2 made"] / molar_mass("CO2"))
        if uncertainty(curve.store_mol) > 0:
            held, litres = (partial(truth.at, name) for name in ("co2_dissolved_mol", "liquid_L"))
            taken = sum(float(held(t) / litres(t)) * volume for t, volume in truth.batch.withdrawals)
            yield plain(f"gas: held by the liquid ({curve.kind})", curve.store_mol, float(held(1e9)) + taken)
    if a.routes is not None:
        yield plain("gas: missing from the collector", a.routes.difference_mol, 0.0)
    if a.read is not None:
        yield from _read(a.read, a.gas[0], truth)


def _read(found: SmoothReading, gas: GasCurve, truth: Truth) -> Iterator[Held]:
    """What is read off the gas without a growth curve, beside the same reading of the exact gas at the same times.

    The exact gas is what was seen, with what the liquid then held; the yeast made it a little before.
    """
    made = np.interp(gas.time_h, truth.time_h, _gas_seen(truth, gas.kind))
    exact = smooth_growth(gas.time_h, made, gas.noise, window_h=found.window_h)
    for name, limits in found.limits.items():
        true = made[-1] if name == "amount_so_far" else nominal(getattr(exact, name))
        yield with_limits(f"gas read: {name}", getattr(found, name), limits, true, bool(found.doubts))


def _gas_seen(truth: Truth, kind: str) -> Any:
    """CO2 made, at the times at which it was seen in the headspace or the collector [mol]."""
    total = float(truth.series["co2_produced_mol"][-1])
    if kind == "pressure":
        head = truth.series["co2_headspace_mol"]
        return head * total / head[-1]
    out, batch = truth.series["collected_mol"], truth.batch
    room = (batch.total_L - batch.liquid_L) * batch.barometer_bar / (L_BAR_GAS_CONSTANT * 301.0)
    store = 1 - np.exp(-out / room)
    return out + (total - out[-1]) * store / store[-1]


def _alcohol(a: Analysis, truth: Truth, kitchen: Kitchen) -> Iterator[Held]:
    cooled = float(water_density(20.0) / water_density(truth.batch.temperature_C))
    if a.calibration is not None:
        for name, true in (("intercept", kitchen.blank_V), ("slope", kitchen.slope_V)):
            yield plain(f"calibration: {name}", a.calibration.fitted.parameters[name], true)
    if a.drift is not None:
        yield plain("calibration: shift of the sensor", a.drift.shift, 0.0)
    for sample in a.samples:
        grams_per_L = float(truth.at("ethanol_g", sample.time_h) / truth.at("liquid_L", sample.time_h))
        pct = float(ethanol_pct_vol_from_concentration(grams_per_L * cooled))
        which = "last sample" if sample is a.samples[-1] else "earlier samples"
        for dilution, reading in zip(sample.dilutions, sample.readings):
            what = f"alcohol: {which}, diluted {dilution:g}-fold"
            yield with_limits(what, reading.value, reading.interval(), pct, not reading.in_range)
        if sample.value is not None:
            yield plain(f"alcohol: {which}, as used", sample.value, pct)
        if sample.series is not None and sample.value is not None:
            odd = sample.series.used.sum() < len(sample.dilutions)
            yield with_limits(f"alcohol: {which}, together", sample.value, sample.series.interval(), pct, odd)


def one_run(name: str, generator: str, seed: int) -> tuple[list[Held], float | None]:
    """All numbers of one run beside the truth, and the p-value of its balance."""
    rng = np.random.default_rng([seed, list(KITCHENS).index(name), list(GENERATORS).index(generator)])
    kitchen, strain = KITCHENS[name], GENERATORS[generator](rng)
    harvested = min(rng.normal(kitchen.share_harvested, kitchen.u_share_harvested), 1.0)
    keeps = rng.uniform(1.0, 1.02 if kitchen.gas == "pressure" else 1.12)
    own = drawn_ways(rng) | {
        "harvested_share": harvested, "keeps": keeps, "salting": rng.uniform(0.89, 1.005),
        "swelling_L_mol": rng.uniform(0.032, 0.038),
    }  # fmt: skip
    truth = ferment(draw_batch(kitchen, rng, strain, **own))
    found = analyse(run_from(*readings(truth, rng, kitchen)), curve="gompertz")
    p = found.reconciliation.p_value if found.reconciliation is not None else None
    return list(everything(found, truth, kitchen)), p


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    kitchen: str
    generator: str
    what: str
    kind: str
    runs: int
    covered: float
    width: float
    bias: float
    given: float
    doubted: float

    @property
    def error(self) -> float:
        """Standard error of the coverage."""
        return float(np.sqrt(max(self.covered * (1 - self.covered), 1e-4) / self.runs))


Runs = list[tuple[list[Held], float | None]]


def runs_of(
    runs: int, kitchens: tuple[str, ...] = tuple(KITCHENS), generators: tuple[str, ...] = tuple(GENERATORS)
) -> dict[tuple[str, str], Runs]:
    """All numbers of so many runs in each kitchen with each kind of yeast."""
    return {
        (kitchen, generator): [one_run(kitchen, generator, FIRST_SEED + i) for i in range(runs)]
        for generator in generators
        for kitchen in kitchens
    }


def rows_of(kitchen: str, generator: str, out: Runs) -> list[Row]:
    """The table of some runs. The last line says how often the balance alarms."""
    by_name: dict[str, list[list[Held]]] = {}
    for run, _ in out:
        mine: dict[str, list[Held]] = {}
        for held in run:
            mine.setdefault(held.what, []).append(held)
        for what, several in mine.items():
            by_name.setdefault(what, []).append(several)
    table = [_row(kitchen, generator, what, of_runs, len(out)) for what, of_runs in by_name.items()]
    p = np.array([p for _, p in out if p is not None])
    alarms = float((p < 0.05).mean()) if p.size else np.nan
    table.append(
        Row(kitchen, generator, "alarms of the balance", "share", p.size, alarms, 0, np.nan, p.size / len(out), 0)
    )
    return table


def study(
    runs: int, kitchens: tuple[str, ...] = tuple(KITCHENS), generators: tuple[str, ...] = tuple(GENERATORS)
) -> list[Row]:
    """The table by kitchen and kind of yeast; `runs` for each."""
    return [row for cell, out in runs_of(runs, kitchens, generators).items() for row in rows_of(*cell, out)]


def _row(kitchen: str, generator: str, what: str, of_runs: list[list[Held]], runs: int) -> Row:
    """Numbers printed several times in a run (a sample at each hour) count each time."""
    numbers = [held for several in of_runs for held in several]
    inside = np.array([held.low <= held.true <= held.high for held in numbers])
    width = np.median([held.high - held.low for held in numbers])
    true = np.median([abs(held.true) for held in numbers])
    z = [(held.value - held.true) / held.u for held in numbers if held.u > 0 and np.isfinite(held.u)]
    return Row(
        kitchen, generator, what, numbers[0].kind, len(numbers), float(inside.mean()),
        float(width / true) if true else float(width), float(np.mean(z)) if z else np.nan,
        len(of_runs) / runs, float(np.mean([held.doubted for held in numbers])),
    )  # fmt: skip


def by_generator(found: dict[tuple[str, str], Runs]) -> str:
    """Over all kitchens, for each kind of yeast: holds [%], bias [u], median width [% of the truth], in Markdown."""
    kinds = list(dict.fromkeys(generator for _, generator in found))
    table = {
        (row.what, kind): row
        for kind in kinds
        for row in rows_of("all", kind, [run for (_, one), out in found.items() if one == kind for run in out])
    }
    lines = [
        f"| number | 95 % | holds [%]: {', '.join(kinds)} | mean error [u] | median width [% of the truth] |",
        "|---|---|--:|--:|--:|",
    ]
    for what in dict.fromkeys(what for what, _ in table):
        rows = [table[what, kind] for kind in kinds if (what, kind) in table]
        holds = ", ".join(f"{100 * row.covered:.1f}" for row in rows)
        bias = ", ".join(f"{row.bias:+.2f}" for row in rows if np.isfinite(row.bias))
        width = ", ".join(f"{100 * row.width:.2g}" for row in rows if row.width)
        lines.append(f"| {what} | {rows[0].kind} | {holds} | {bias} | {width} |")
    return "\n".join(lines)


AMOUNTS = ("yield: ", "estimate: ", "reconciled: ", "as measured: ", "gas: CO2 made", "harvest: net")


def too_low(table: list[Row], least: float = 0.92) -> str:
    """Cells of amounts and yields that hold the truth too seldom, in Markdown."""
    cells: dict[str, list[str]] = {}
    for row in table:
        if row.what.startswith(AMOUNTS) and row.covered < least:
            cells.setdefault(row.what, []).append(f"{row.kitchen}, {row.generator} {100 * row.covered:.0f}")
    return "\n".join(f"* {what}: {'; '.join(those)}" for what, those in cells.items())


def show(table: list[Row]) -> None:
    """Print it."""
    print(
        f"{'kitchen':11} {'yeast':8} {'number':38} {'95 %':8} "
        f"{'holds':>6} {'±':>4} {'width':>7} {'bias':>6} {'given':>6} {'doubt':>6}"
    )
    for row in table:
        print(
            f"{row.kitchen:11} {row.generator:8} {row.what:38} {row.kind:8} {100 * row.covered:6.1f} "
            f"{100 * row.error:4.1f} {100 * row.width:7.1f} {row.bias:+6.2f} {100 * row.given:6.1f} "
            f"{100 * row.doubted:6.1f}"
        )


if __name__ == "__main__":
    given = sys.argv[1:]
    each, chosen = int(given[0]) if given else 100, tuple(given[1:]) or tuple(KITCHENS)
    found = runs_of(each, chosen)
    table = [row for cell, out in found.items() for row in rows_of(*cell, out)]
    print(f"{each} runs for each kitchen and kind of yeast")
    show(table)
    print("\n" + by_generator(found) + "\n\n" + too_low(table))
