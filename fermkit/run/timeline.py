"""A run's hours: what the batch in time tells of yeast and sugar, beside what is read off the gas by no model."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Final

import numpy as np

from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, in_percent, interval, nominal, rounded, uncertainty
from fermkit.batch.progress import Stage
from fermkit.kinetics.answers import ANSWERS, CHANCE_SAID, Answer, BatchFit
from fermkit.run.analysis import Analysis
from fermkit.run.batch_in_time import fit_batch
from fermkit.run.closed_vessel import vessel_of
from fermkit.run.steps import Step

NO_MODEL, MODEL = "the gas alone, no model", "batch in time"
"""The two ways, as people read them."""

SHOWN: Final = ("lag_h", "exponential_end_h", "sugar_gone_h", "gas_done_h")
"""Hours of the batch in time that are set beside those of the gas."""

WORTH_IT: Final = 0.9
"""A further reading is named where it leaves less than this share of the doubt [-]."""

SELDOM: Final = 0.975
"""Where it passes its rating less often than one in forty, that is not said [-]."""


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour of a run, and the way by which it is told.

    Attributes
    ----------
    name : str
        One of `SHOWN`, or "gas_start", "gas_end", "rating".
    words : str
    by : str
    value, low, high : float
        With its 95 % interval [h].
    """

    name: str
    words: str
    by: str
    value: float
    low: float
    high: float

    @property
    def shown(self) -> str:
        """The hour, rounded by its interval."""
        u = (self.high - self.low) / 4
        return rounded(self.value, u)[0] if np.isfinite(u) and u > 0 else rounded(self.value)[0]


@dataclass(frozen=True, repr=False)
class Timeline(Written):
    """The hours of a run by both ways, and where they differ.

    Attributes
    ----------
    hours : tuple of Hour
    words : tuple of str
        Where the two ways differ, what comes, and what reading would tell more.
    fit : BatchFit
    last_h : float
        The last reading [h].
    """

    hours: tuple[Hour, ...]
    words: tuple[str, ...]
    fit: BatchFit
    last_h: float

    def page(self) -> Page:
        """One line an hour, then the words."""
        lines = [Line(one.words, one.shown, "h", one.by, (one.low, one.high)) for one in self.hours]
        return Page("Hours of the gas, of the yeast and of the sugar", lines, self.words)


def timeline(found: Analysis) -> Timeline:
    """The hours of a run: of the gas by no model, of yeast and sugar by the batch in time.

    Parameters
    ----------
    found : Analysis

    Returns
    -------
    Timeline

    Raises
    ------
    InputError, FitError
        Where the readings do not allow a batch in time: see `fit_batch`.
    """
    fit = fit_batch(found)
    hours = [*_of_the_gas(found), *(_of_the_model(fit, name) for name in SHOWN)]
    hours += _rating(found, fit)
    return Timeline(tuple(hours), tuple(_words(found, fit, hours)), fit, fit.last_h)


def timeline_or_why(found: Analysis) -> tuple[Timeline | None, str]:
    """The hours, or None and the reason in a sentence: whatever fails here costs itself only."""
    step = Step("timeline", "The batch in time", timeline, "of_run")
    result, why = step.done(SimpleNamespace(of_run=found))
    return result, "".join(f"{step.title}: not told, since {reason}." for reason in why)


def _of_the_gas(found: Analysis) -> Iterator[Hour]:
    read = found.read
    if read is None:
        return
    yield Hour("gas_start", "start of the gas", NO_MODEL, nominal(read.lag_h), *read.limits["lag_h"])
    if "finish_time_h" in read.limits and np.isfinite(read.finish_time_h):
        yield Hour("gas_end", "99 % of the gas made", NO_MODEL, read.finish_time_h, *read.limits["finish_time_h"])


def _of_the_model(fit: BatchFit, name: str) -> Hour:
    one = fit.answers[name]
    return Hour(name, ANSWERS[name][0], MODEL, one.value, one.low, one.high)


def _rating(found: Analysis, fit: BatchFit) -> list[Hour]:
    """When the vessel, had it been closed from the start, passes its maker's rating; none where it never does."""
    try:
        vessel = vessel_of(found.run)
        if vessel is None or vessel.rated_bar_gauge is None or not found.gas:
            return []
        room = replace(vessel, solubility_vs_water=found.gas[0].solubility_vs_water).headroom().co2_mol
    except InputError:
        return []
    hour, never = fit.hour_of_co2(nominal(room), uncertainty(room))
    words = "rating passed, if closed from the start"
    return [] if never > SELDOM else [Hour("rating", words, MODEL, hour.value, hour.low, hour.high)]


def _words(found: Analysis, fit: BatchFit, hours: list[Hour]) -> Iterator[str]:
    told = {one.name: one for one in hours}
    start, awake = told.get("gas_start"), told["lag_h"]
    if start is not None:
        yield _beside(
            "The yeast's lag ends", awake, "the gas starts", start,
            "Yeast that wakes multiplies before its gas is seen, and the liquid keeps the first of it.",
            "Few yeasts were slow to begin: the first gas comes from yeast that does not multiply yet.",
        )  # fmt: skip
    end, gone = told.get("gas_end"), told["sugar_gone_h"]
    running = told["gas_done_h"].value > fit.last_h or (found.progress and found.progress.stage is not Stage.DONE)
    if end is not None:
        yield _beside(
            "The sugar is gone", gone, "99 % of the gas is made", end,
            "The last gas takes its time to leave the liquid.",
            "The readings end, or the gas is lost, before the model sees the end of the sugar.",
        )  # fmt: skip
    elif running:
        yield from _forecast(found, fit)
    if running:
        yield from _next(fit)
    if "rating" in told:
        one = told["rating"]
        when = f"at {one.shown} h, perhaps" if np.isfinite(one.value) else "perhaps, and then"
        yield (
            f"Closed from the start, the vessel would pass its maker's rating {when} as early as {one.low:.3g} h; on a "
            "warm day earlier. Do not close it."
        )


def _beside(what: str, model: Hour, other: str, read: Hour, earlier: str, later: str) -> str:
    """Two hours in one sentence: whether they differ by more than both their intervals."""
    said = f"{what} at {model.shown} h (batch in time), {other} at {read.shown} h (no model)"
    if model.high < read.low:
        return f"{said}. {earlier}"
    if model.low > read.high:
        return f"{said}. {later}"
    return f"{said}: no difference shown."


def _forecast(found: Analysis, fit: BatchFit) -> Iterator[str]:
    done, chance = fit.answers["gas_done_h"], fit.stops_short
    if_so = ", if nothing stops it" if chance >= CHANCE_SAID else ""
    said = f"Still running. By the batch in time 95 % of the gas has left at {_span(done)}{if_so}"
    by_rate = None if found.progress is None else found.progress.done_h
    if by_rate is not None:
        said += f"; by the present rate alone at {interval(*by_rate, 'h').removesuffix(' (95 %)')}"
    yield said + "."
    if chance >= CHANCE_SAID:
        yield f"The chance that it stops with more than 5 % of the sugar left is {in_percent(chance)}."


def _span(one: Answer) -> str:
    return interval(one.low, one.high, "h")


def _next(fit: BatchFit) -> Iterator[str]:
    best = fit.next_reading("gas_done_h").lines[0]  # type: ignore[attr-defined]
    if float(best.value) < 100 * WORTH_IT:
        yield f"A reading that would narrow this forecast most: {best.name} ({best.note}); {best.value} {best.unit}."
