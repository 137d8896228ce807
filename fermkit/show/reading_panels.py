"""Panels over what was read: the gas curve, the calibration, the balance, the shares of the uncertainty."""

import textwrap
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from math import sqrt
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.balance.account import Balance
from fermkit.basis.budget import Act
from fermkit.basis.errors import FermkitError
from fermkit.basis.written import Line, Page, in_words, interval, nominal, percent, plus_minus, uncertainty
from fermkit.calibration.calibrate import Calibration, fit_calibration
from fermkit.calibration.readback import Reading
from fermkit.gas.curve import GasCurve
from fermkit.growth.fit import GrowthFit, fit_growth
from fermkit.run.analysis import Analysis
from fermkit.run.yields import UncertaintyShares
from fermkit.show import plots
from fermkit.show.controls import Choice, Control, Slider
from fermkit.show.guess import Place
from fermkit.show.panel import Panel

CURVES: Final = ("gompertz", "logistic", "baranyi", "richards")

SLIPS: Final[Mapping[str, tuple[str, float]]] = {
    "none": ("", 1.0),
    "% by volume read as % by mass": ("ethanol", 1 / 0.7892),
    "a dilution of 1 in 2 forgotten": ("ethanol", 0.5),
    "a third of a mole of CO2 per mole of sugar": ("CO2", 1 / 6),
    "a leak of one fifth of the gas": ("CO2", 0.8),
    "sucrose taken for glucose": ("hexose", 0.95),
    "yeast weighed wet, at a quarter solids": ("yeast", 4.0),
}
"""Each classic slip: the stream that it touches, and what it does to its amount."""


def growth(gas: GasCurve) -> Panel:
    """The gas curve, fitted to as much of the run as has been seen.

    Parameters
    ----------
    gas : GasCurve
        For example ``analysis.gas[0]``.

    Returns
    -------
    Panel
        Sliders: ``seen_pct``. Choices: ``curve``, ``noise``.
    """
    picture = plots.figure(10.5, 7.6)
    with plots.house_style():
        ax = picture.subplots()
    whole, last_h = nominal(gas.total()), float(gas.time_h[-1])

    @lru_cache(64)
    def ends_of(seen_pct: float, curve: str, noise: str) -> tuple[float, float]:
        return fitted(seen_pct, curve, noise).interval("final_amount")

    @lru_cache(64)
    def fitted(seen_pct: float, curve: str, noise: str) -> GrowthFit:
        part = _seen(gas, seen_pct)
        return fit_growth(
            part.time_h,
            part.co2_mol,
            curve,
            noise,  # type: ignore[arg-type]
            scale_u=uncertainty(gas.common),
            unit="mol CO2",
            counts=gas.counts,
        )

    def draw(seen_pct: float, curve: str, noise: str) -> Page:
        part = _seen(gas, seen_pct)
        fit = fitted(seen_pct, curve, noise)
        plots.gas_curve(part, fit, ax=ax)
        rest = gas.time_h > part.time_h[-1]
        ax.plot(gas.time_h[rest], gas.co2_mol[rest] * 1000, "o", color=plots.LATER, mfc="none", markersize=3.5)
        ahead = np.linspace(part.time_h[-1], last_h, 60)
        ax.plot(ahead, fit.predict(ahead) * 1000, color=plots.COLOURS["vermilion"], linestyle=(0, (1, 1.3)))
        low, high = ends_of(seen_pct, curve, noise)
        ends = [[1000 * low], [1000 * min(high, 10 * whole)]]
        ax.plot([last_h * 1.03] * 2, ends, "_-", color=plots.COLOURS["vermilion"], linewidth=2.5, markersize=9)
        ax.set(xlim=(0, last_h * 1.06), ylim=(0, whole * 1250))
        said = _forecast(low, high, whole, seen_pct)
        lines = [
            Line("final amount", fit.final_amount, "mol CO2", limits=(low, high)),
            Line("largest rate", fit.max_rate * 1000, "mmol/h"),
            Line("lag", fit.lag_h, "h"),
        ]
        return Page(said, lines, fit.doubts)

    def spread(seen_pct: float, curve: str, noise: str) -> Page:
        lines = []
        for other in CURVES:
            try:
                fit = fitted(seen_pct, other, noise)
            except FermkitError as trouble:
                lines.append(Line(other, "no fit", "", trouble.met))
                continue
            rate = plus_minus(fit.max_rate * 1000, "mmol/h")
            lines.append(Line(other, fit.final_amount, "mol CO2", f"{rate}, lag {plus_minus(fit.lag_h, 'h')}"))
        return Page("The same readings through other curves: none of them is the truth.", lines)

    controls: list[Control] = [
        Slider("seen_pct", "Part of the run seen, %", 20, 100, 5, 100),
        Choice("curve", "Curve", CURVES, "gompertz"),
        Choice("noise", "Errors of the readings", ("independent", "accumulating"), gas.noise),
    ]
    place = Place("y", 1000)  # drawn in mmol
    return Panel("The gas curve, and what it forecasts", controls, draw, picture, spread, "final amount", place)


def _seen(gas: GasCurve, seen_pct: float) -> GasCurve:
    """The curve as it stood when that part of the run's time had passed."""
    first, last = float(gas.time_h[0]), float(gas.time_h[-1])
    keep = gas.time_h <= first + (last - first) * seen_pct / 100 + 1e-9
    names = ("time_h", "co2_mol", "u_reading_mol", "u_increment_mol")
    return replace(gas, **{name: getattr(gas, name)[keep] for name in names}, end_error_mol=None)


def _forecast(low: float, high: float, whole: float, seen_pct: float) -> str:
    between = interval(low, high, "mol CO2")
    if seen_pct >= 100:
        return f"The whole run is seen: the final amount is {between}."
    inside = "holds" if low <= whole <= high else "MISSES"
    return f"After {seen_pct:g} % of the run the forecast is {between}; it {inside} the {whole:.3g} mol that came."


def calibration(cal: Calibration, reading: Reading) -> Panel:
    """One sample read on its calibration curve: what the dilution, a drift and the replicates do.

    Parameters
    ----------
    cal : Calibration
        For example ``analysis.calibration``.
    reading : Reading
        A sample read on it: ``analysis.samples[0].readings[0]``.

    Returns
    -------
    Panel
        Sliders: ``dilution``, ``pipetting_pct``, ``drift_pct``, ``replicates``. Choice: ``curve``.
    """
    picture = plots.figure(10.5, 7.6)
    with plots.house_style():
        ax = picture.subplots()
    signals, diluted = reading.sample.values, float(nominal(reading.factor))
    careful = float(f"{100 * uncertainty(reading.factor) / diluted:.3g}")
    top = 1.3 * max(float(cal.signal.max()), float(signals.max()))
    unit = reading.fitted.content_unit

    @lru_cache
    def line(curve: str) -> Calibration:
        return fit_calibration(cal.ethanol_pct_vol, cal.signal, curve=curve, unit=cal.unit, content_unit=unit)

    def draw(dilution: float, pipetting_pct: float, drift_pct: float, replicates: float, curve: str) -> Page:
        used = line(curve)
        read = used.read(
            signals[: round(replicates)] * (1 + drift_pct / 100),
            dilution=dilution,
            u_pipetting=pipetting_pct / 100,
            extrapolate=True,
        )
        plots.calibration(used, [read], ax=ax)
        ax.plot([read.seen] * 2, [0, read.sample.level], color=plots.COLOURS["vermilion"], linewidth=1)
        worked = f"{read.seen:.3g} × {dilution:.4g} = {plus_minus(read.value, unit)}"
        right = max(cal.range[1], read.seen)
        ax.text(1.05 * right, 0.03 * top, worked, ha="right", in_layout=False)
        ax.set(xlim=(cal.range[0], 1.05 * right), ylim=(0, top))
        where = "inside the standards" if read.in_range else "OUTSIDE the standards: not to be trusted"
        lines = [
            Line("content of the sample", read.value, unit, limits=read.interval()),
            Line("as the sensor saw it", read.seen, unit, where),
            Line("limit of quantification", used.limit_of_quantification, unit, "in what the sensor sees"),
        ]
        change = nominal(read.value) / nominal(reading.value) - 1
        moved = "" if abs(change) < 0.0005 else f", {100 * change:+.1f} % against the reading as it was taken"
        return Page(f"The sample holds {plus_minus(read.value, unit)}{moved}; {where}.", lines, read.remarks)

    most = max(2, signals.size)
    words = tuple(dict.fromkeys(("line", "quadratic", "power", "saturating", cal.curve)))
    controls: list[Control] = [
        Slider("dilution", "Dilution in the lab book, times", 1, max(20.0, 2 * diluted), 0.5, diluted),
        Slider("pipetting_pct", "± of the pipetting, %", 0, 10, 0.2, careful),
        Slider("drift_pct", "Drift since the standards, %", -20, 20, 1, 0),
        Slider("replicates", "Replicates used", 1, most, 1, signals.size),
        Choice("curve", "Curve", words, cal.curve),
    ]
    return Panel("A sample on its calibration curve", controls, draw, picture, guess="content of the sample")


def balance(streams: Balance | Mapping[str, Any]) -> Panel:
    """Where the sugar went: move each amount and its ±, or make a classic slip, and see the verdict.

    Parameters
    ----------
    streams : Balance, or mapping of str to ufloat
        ``analysis.balance``, or grams by stream, consumed negative, as `Balance` takes them.

    Returns
    -------
    Panel
        For each stream the sliders ``<stream>_g`` and ``<stream>_u`` (percent); the choice ``slip``.
    """
    whole = streams if isinstance(streams, Balance) else Balance(streams)
    measured = {name: value for name, value in whole.streams.items() if value is not None and nominal(value) != 0}
    known = {name for name, _ in SLIPS.values()} & set(measured)
    slips = [slip for slip, (name, _) in SLIPS.items() if not name or name in known]
    picture = plots.figure(11, 11)
    with plots.house_style():
        ax, why_ax = picture.subplots(2, 1)
    plots.place(ax, left=0.01, bottom=0.5, right=0.99, top=0.99)
    plots.place(why_ax, left=0.36, bottom=0.11, top=0.44)  # the names of all streams have room on the left

    def told(slip: str, values: Mapping[str, float]) -> Balance:
        touched, factor = SLIPS[slip]
        out = dict(whole.streams)
        for name, value in measured.items():
            grams = values[_g(name)] * (factor if name == touched else 1.0)
            out[name] = ufloat(-grams if nominal(value) < 0 else grams, grams * values[_u(name)] / 100)
        return replace(whole, streams=out)

    def draw(slip: str, **values: float) -> Page:
        bal = told(slip, values)
        closure, found = bal.closure(), bal.reconcile()
        carbon = {s.name: s.weighed * s.content(bal.nitrogen).get("C", 0.0) for s in bal.known}
        into = -sum(c for c in carbon.values() if nominal(c) < 0)
        plots.where_it_went(into, {n: c for n, c in carbon.items() if nominal(c) > 0}, ax=ax)
        plots.moved(found, ax=why_ax)
        lines = [Line(f"{name} found", share * 100, "%") for name, share in closure.found.items()]
        lines.append(Line("misfit", f"chi² = {found.chi2:.1f} on {found.degrees_of_freedom}", in_words(found.p_value)))
        said = f"{percent(closure.found['carbon'])} of the carbon is found; {found.verdict}."
        return Page(said, lines, alarm=found.p_value < 0.05)

    def why(slip: str, **values: float) -> Page:
        page = told(slip, values).explain().page()
        return Page(page.heading, page.lines[:5], page.remarks[:2])

    controls: list[Control] = [Choice("slip", "A classic slip", slips, "none")]
    for name, value in measured.items():
        grams, u = abs(nominal(value)), uncertainty(value)
        top = float(f"{1.6 * grams:.1g}")
        controls += [
            Slider(_g(name), f"{name}, g", 0.05 * top, top, top / 200, float(f"{grams:.4g}")),
            Slider(_u(name), f"± of {name}, %", 0.2, 20, 0.2, min(20.0, max(0.2, float(f"{100 * u / grams:.2g}")))),
        ]
    return Panel("Does it add up?", controls, draw, picture, why, guess="carbon found")


def _g(name: str) -> str:
    return f"{name.replace(' ', '_')}_g"


def _u(name: str) -> str:
    return f"{name.replace(' ', '_')}_u_pct"


def uncertainty_shares(analysis: Analysis) -> Panel:
    """Backwards from a yield: whose share of the uncertainty is whose, and what doing one act better gains.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    Panel
        Sliders: ``better`` (how many times), ``aim_pct`` (the ± that is wanted). Choices: ``of``, ``act``.
    """
    all_shares = {name: analysis.uncertainty_shares(name) for name in analysis.yields}
    acts = {str(act): act for found in all_shares.values() for act in found.acts}
    first = next(iter(all_shares))
    picture = plots.figure(11, 7)
    with plots.house_style():
        ax = picture.subplots()
    plots.place(ax, left=0.42, bottom=0.18)

    def draw(better: float, aim_pct: float, of: str, act: str) -> Page:
        found, chosen = all_shares[of], acts[act]
        now = {one: u / better if one == chosen else u for one, u in found.acts.items()}
        u = sqrt(sum(part**2 for part in now.values()))
        parts = sum(ufloat(0.0, part, tag=one) for one, part in now.items())
        plots.shares(UncertaintyShares(found.name, nominal(found.value) + parts, found.unit), ax=ax, most=6)
        ax.set_xlim(0, 110)
        shown = [label.get_text() for label in ax.get_yticklabels()]
        ax.set_yticks(ax.get_yticks(), [_short(name) for name in shown])
        if act in shown:
            ax.patches[shown.index(act)].set(facecolor=plots.COLOURS["vermilion"], hatch="///")
        value, old = nominal(found.value), uncertainty(found.value)
        lines = [
            Line("as it was done", found.value, found.unit, f"± {100 * old / value:.2g} %"),
            Line(
                f"with '{act}' done {better:g} times as well",
                ufloat(value, u),
                found.unit,
                f"± {100 * u / value:.2g} %",
            ),
            Line(
                "own share of it",
                f"{100 * found.shares().get(chosen, 0.0):.0f}",
                "%",
                "of the variance, as it was done",
            ),
        ]
        return Page(_reach(found, chosen, aim_pct / 100 * value, u), lines)

    controls: list[Control] = [
        Choice("of", "Which yield", list(all_shares), first),
        Choice("act", "Which act is done better", list(acts), str(next(iter(all_shares[first].acts)))),
        Slider("better", "How much better, times", 1, 5, 0.5, 2),
        Slider("aim_pct", "The ± that you want, %", 0.2, 10, 0.2, 1),
    ]
    return Panel("Whose share of the uncertainty is whose", controls, draw, picture, guess="own share of it")


def _short(act: str, letters: int = 24) -> str:
    return textwrap.fill(act, letters, max_lines=2, placeholder=" …")


def _reach(found: UncertaintyShares, act: Act, aim: float, u: float) -> str:
    """Whether doing one act better reaches the aim, and how much better it would have to be."""
    said = f"{found.name[:1].upper()}{found.name[1:]} becomes {plus_minus(ufloat(nominal(found.value), u), found.unit)}"
    rest = sum(part**2 for one, part in found.acts.items() if one != act)
    if u <= aim:
        return f"{said}: that reaches the aim."
    if rest >= aim**2 or act not in found.acts:
        return f"{said}. The aim can't be reached by '{act}' alone: the other acts are above it already."
    times = found.acts[act] / sqrt(aim**2 - rest)
    return f"{said}. To reach the aim, '{act}' would have to be done {times:.1f} times as well."
