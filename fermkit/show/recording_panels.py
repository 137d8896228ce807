"""Panels over what is on disk: a run in progress, and run beside run."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, interval, nominal, plus_minus, uncertainty
from fermkit.batch.progress import SAYS
from fermkit.growth.fit import Forecast
from fermkit.growth.smoothing import smooth_growth
from fermkit.run.analysis import Analysis, analyse
from fermkit.run.comparison import yields_side_by_side
from fermkit.run.records import Run, read_run
from fermkit.run.timeline import Timeline, timeline_or_why
from fermkit.show import plots
from fermkit.show.controls import Action, Choice, Control, Slider
from fermkit.show.panel import Panel

AGAIN: Final = {"on the button": 0.0, "every 10 s": 10.0, "every minute": 60.0, "every 10 minutes": 600.0}
"""How often a run in progress is read again [s]."""


def compare(analyses: Sequence[Analysis]) -> Panel:
    """Run beside run: which differences are larger than their ±, and how good the ± would have to be.

    Parameters
    ----------
    analyses : sequence of Analysis
        Two or more.

    Returns
    -------
    Panel
        Slider: ``times`` (each ± so many times as large). Choices: ``of``, ``against``.
    """
    names = [analysis.run.name for analysis in analyses]
    if len(set(names)) != len(names) or len(names) < 2:
        raise InputError(
            f"{len(names)} runs named {', '.join(names)}",
            "two or more runs with different names",
            "name them in run.toml",
        )
    every = yields_side_by_side(analyses)
    short = dict(zip(names, _without_what_all_share(names)))
    yields = list(dict.fromkeys(name for own in every for name in own))
    picture = plots.figure(10.5, 3.4 + 1.1 * len(names))
    with plots.house_style():
        ax = picture.subplots()

    def draw(times: float, of: str, against: str) -> Page:
        found = {name: own[of] for name, own in zip(names, every) if of in own}
        if against not in found:
            raise InputError(f"{against} has no {of}", "a run that has one", "choose another run or another yield")
        values = [nominal(y.per_g) for y in found.values()]
        half = [1.96 * times * uncertainty(y.per_g) for y in found.values()]
        rows = np.arange(len(found))
        ax.axvspan(*_around(found[against].per_g, times), **plots.GROUND)
        ax.errorbar(values, rows, xerr=half, fmt="o", color=plots.COLOURS["blue"], capsize=4)
        ax.set_yticks(rows, [short[name] for name in found])
        ax.set(
            xlim=_limits(found.values()),
            ylim=(len(found) - 0.5, -0.5),
            xlabel=f"{of.replace('_', ' ')} [g/g; whisker: 95 %]",
        )
        lines, told = [], []
        for name, each in found.items():
            if name == against:
                continue
            apart = each.per_g - found[against].per_g
            change = ufloat(nominal(apart), times * uncertainty(apart))
            far = abs(nominal(change)) / max(uncertainty(change), 1e-300)
            seen = "a difference" if far > 1.96 else "no difference shown"
            known = "; ".join(dict.fromkeys(filter(None, (one.known for one in (each, found[against])))))
            note = "; ".join(filter(None, (f"{far:.1f} times its ±: {seen}", known)))
            lines.append(Line(f"{short[name]} less {short[against]}", change, "g/g", note))
            told += [short[name]] if far > 1.96 else []
        said = (
            f"these differ from {short[against]}: {', '.join(told)}"
            if told
            else f"no run is shown to differ from {short[against]}"
        )
        return Page(f"At {times:g} times the ± of each run, {said}.", lines)

    controls: list[Control] = [
        Slider("times", "Each ± so large, times", 0.1, 3, 0.1, 1),
        Choice("of", "Which yield", yields, yields[0]),
        Choice("against", "Against the run", names, names[0]),
    ]
    return Panel("Run beside run", controls, draw, picture)


def _without_what_all_share(names: Sequence[str]) -> list[str]:
    """The names without the words that all begin with: there is little room beside a picture."""
    words = [name.split() for name in names]
    shared = 0
    while len({tuple(one[: shared + 1]) for one in words}) == 1 and all(len(one) > shared + 1 for one in words):
        shared += 1
    return [" ".join(one[shared:]) for one in words]


def _around(value: Any, times: float) -> tuple[float, float]:
    half = 1.96 * times * uncertainty(value)
    return nominal(value) - half, nominal(value) + half


def _limits(yields: Any) -> tuple[float, float]:
    ends = [end for each in yields for end in _around(each.per_g, 3.0)]
    return min(ends), max(ends)


def watch(folder: str | Path) -> Panel:
    """A run in progress, whose logger still writes: read it again on a button or on a timer.

    Parameters
    ----------
    folder : str or Path
        The run folder.

    Returns
    -------
    Panel
        Sliders: ``done_pct`` (share of the final amount that counts as done), ``alarm_pct`` (share of the
        maker's rating). Choices: ``curve``, ``again``. Button: ``read``. The timer runs while the kernel does.
    """
    picture = plots.figure(10.5, 7.6)
    with plots.house_style():
        ax = picture.subplots()
    seen: dict[str, Any] = {"run": read_run(folder)}
    known: dict[str, Analysis] = {}
    forecasts: dict[tuple[float, str], Forecast] = {}
    ends: dict[str, tuple[float, float]] = {}
    hours: dict[str, tuple[Timeline | None, str]] = {}
    place = str(Path(folder).resolve())
    if place in RUNNING:
        RUNNING[place].stop()  # the cell was run again: one timer a folder
    clock = RUNNING[place] = _Clock("read")

    def read(**_: Any) -> str:
        before, seen["run"] = _rows(seen["run"]), read_run(folder)
        known.clear()
        forecasts.clear()
        ends.clear()
        hours.clear()
        new = _rows(seen["run"]) - before
        return f"Read again: {new} new rows." if new else "Read again: nothing new."

    def draw(done_pct: float, alarm_pct: float, curve: str, again: str) -> Page:
        clock.set(AGAIN[again])
        if curve not in known:
            known[curve] = analyse(seen["run"], curve=curve)
        found = known[curve]
        if not found.gas:
            return Page("No gas curve yet.", [], found.gaps[:3])
        gas, fit = found.gas[0], found.growth
        plots.gas_curve(gas, fit, ax=ax)
        now, made = float(gas.time_h[-1]), gas.total()
        lines = [Line(f"CO2 {gas.counts} so far", made, "mol", f"at {now:g} h")]
        if fit is None:
            return Page(f"{now:g} h seen, and no forecast yet.", lines, [gap for gap in found.gaps if "curve" in gap])
        ax.set(xlim=(0, 1.6 * now), ylim=(0, 1500 * nominal(made)))
        if (done_pct, curve) not in forecasts:
            forecasts[done_pct, curve] = _done(found, done_pct / 100)
        done = forecasts[done_pct, curve]
        green = plots.COLOURS["green"]
        ax.axvspan(done.low, min(done.high, 9 * now), facecolor=(green, 0.25), edgecolor=green, zorder=0)
        ax.text(done.low, 1450 * nominal(made), f"{done_pct:g} % made ", ha="right", va="top", fontsize=9)
        if curve not in ends:
            ends[curve] = fit.interval("final_amount")
        limits = ends[curve]
        lines += [
            Line("final amount", fit.final_amount, "mol", limits=limits),
            Line(done.what, done.time_h, "h", limits=(done.low, done.high)),
        ]
        stands, why = "how it stands only its recipe could tell", []
        if found.progress is not None:
            stands, why = f"the run is {found.progress.stage}", [SAYS[found.progress.stage]]
            lines += found.progress.page().lines
        alarm, words = _pressure_now(found, alarm_pct / 100)
        said = f"{now:g} h seen: {stands}; {_forecast(done, now)}"
        if alarm:  # what the alarm is about stands in the verdict itself
            said, words = f"{words[0]} {said}", words[1:]
        return Page(said, lines, [*words, *fit.doubts, *why], alarm=alarm)

    def at_rest(done_pct: float, alarm_pct: float, curve: str, again: str) -> Page:
        """The batch in time: beside the forecast of the curves, and its band drawn over theirs."""
        found = known.get(curve)
        if found is None or not found.gas:
            return Page("")
        told, why = hours["now"] = hours.get("now") or timeline_or_why(found)
        if told is None:
            return Page("", (), [why])
        ahead = np.linspace(0.0, 1.6 * float(found.gas[0].time_h[-1]), 60)
        band = told.fit.at(ahead)
        _, low, high = band.co2 if found.gas[0].counts == "produced" else band.gas
        ax.fill_between(ahead, 1000 * low, 1000 * high, **plots.BAND, zorder=0)
        page = told.page()
        return Page("By the batch in time (pale blue band)", page.lines, page.remarks)

    controls: list[Control] = [
        Slider("done_pct", "Counts as done, %", 80, 99.5, 0.5, 99),
        Slider("alarm_pct", "Alarm from, % of the rating", 10, 100, 5, 50),
        Choice("curve", "Curve", ("best", "gompertz", "logistic", "baranyi"), "best"),
        Choice("again", "Read again", list(AGAIN), "on the button"),
        Action("read", "Read the file now", read),
    ]
    clock.panel = Panel("A run in progress", controls, draw, picture, slow=at_rest)
    return clock.panel


RUNNING: dict[str, "_Clock"] = {}
"""The timer of each folder that is watched."""


class _Clock:
    """Presses a button of a panel every so often, from the moment that the panel is there."""

    def __init__(self, button: str) -> None:
        self.button = button
        self.panel: Panel | None = None
        self.seconds = 0.0
        self.stop: Callable[[], None] = lambda: None

    def set(self, seconds: float) -> None:
        """Another pace; zero stops it."""
        if self.panel is None or seconds == self.seconds:
            return
        self.stop()
        self.seconds = seconds
        self.stop = self.panel.every(seconds, self.button) if seconds else lambda: None


def _rows(run: Run) -> int:
    return sum(len(frame) for frame in run.tables.values())


def _done(found: Analysis, fraction: float) -> Forecast:
    """When the gas had come, by the readings; while it still comes, by all curves or by the one that was chosen."""
    gas = found.gas[0]
    read = smooth_growth(**gas.readings, fraction=fraction) if found.read is not None else None
    if read is not None and "finish_time_h" in read.limits:
        low, high = read.limits["finish_time_h"]
        at = (
            ufloat(read.finish_time_h, max((high - low) / (2 * 1.96), 1e-6))
            if np.isfinite(high)
            else read.finish_time_h
        )
        return Forecast(f"{100 * fraction:g} % of it had come at", at, low, high)
    assert found.growth is not None
    return (found.curves or found.growth).finish_time_h(fraction)


def _forecast(done: Forecast, now: float) -> str:
    """When it is done, in words."""
    if not np.isfinite(nominal(done.time_h)):
        return "the curve has not bent yet, so no end can be forecast."
    if done.high < now:
        return "what counts as done is behind it."
    if done.low < now:
        return f"it may be done at any time up to {done.high:.3g} h."
    return f"done at {interval(done.low, done.high, 'h')}."


def _pressure_now(found: Analysis, share: float) -> tuple[bool, list[str]]:
    """Whether the pressure is an alarm, and what is to be said of it."""
    if found.pressure is None:
        return False, []
    gauge = nominal(found.pressure.gauge_bar) + 1.96 * uncertainty(found.pressure.gauge_bar)
    rated = found.run.vessel.rated_bar_gauge
    stands = plus_minus(found.pressure.gauge_bar, "bar gauge")
    said = f"If closed and never vented, the vessel would now stand at {stands}."
    if found.run.vessel.closed not in ("closed", "vented"):
        return False, [f"{said} So never close it; keep the airlock free."]
    if rated is None:
        return True, [f"{said} The maker's rating is not known: let no more pressure build up."]
    if gauge > share * nominal(rated):
        of = 100 * gauge / nominal(rated)
        return True, [f"{said} That is {of:.0f} % of the maker's rating, uncertainty included."]
    left = share * nominal(rated) - gauge
    return False, [f"{said} Headroom to {100 * share:.0f} % of the rating: {left:.2g} bar."]
