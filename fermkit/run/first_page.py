"""The first page, for everybody: what went in, what came out, how sure that is, and what to do.

Plain grams and plain words; whoever checks finds tests, limits and formulas on the pages behind it. ``a`` is always an
`Analysis`, which is made of these words and so cannot be named here.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.written import Line, Number, nominal, percent, plus_minus, rounded, uncertainty
from fermkit.batch.answers import NORMAL_95
from fermkit.batch.closing import IfClosed, Verdict
from fermkit.batch.estimate import ALARM, Answer, Estimate, Mark
from fermkit.batch.impossible import Sort, times_apart
from fermkit.batch.own_sums import OwnSums, Standing
from fermkit.batch.progress import SAYS
from fermkit.batch.readings import state_of
from fermkit.batch.suspects import Suspects
from fermkit.gas.room import Exposure
from fermkit.matter import usual
from fermkit.run.batch_readings import disagree
from fermkit.run.closed_vessel import under_airlock
from fermkit.run.records import Run
from fermkit.run.yields import Yield

HEADLINE: Final = ("sugar_used", "sugar_left", "ethanol", "co2", "yeast")
"""What a person asks first."""

WENT_IN: Final = {"sugar_fed": "sugar"}
CAME_OUT: Final = {"ethanol": "alcohol", "co2": "gas (CO2)", "yeast": "new yeast, dry", "sugar_left": "sugar left"}
HARVESTED: Final = {"paste": "paste, dry", "extract": "extract, dry", "debris": "debris, dry"}
"""Quantities of the estimate as the first page calls them."""

BYPRODUCTS: Final = ("glycerol", "acids")
SUGAR_NOTE: Final = (
    "Sugar is counted as simple sugar: table sugar takes up water when the yeast splits it, and 100 g become 105 g."
)
GOOD, FAIR = 0.8, 0.5
"""Shares of the best that this recipe usually gives, from which a run is called good, and fair (a choice)."""
BEYOND: Final = 1.2
"""Share of the limit from which something is missing in the recipe [-]: a limit has a ± too (a choice)."""


READ_BY: Final = {"volume": "collector", "flow": "flow meter", "bubbles": "bubble counter", "weight": "scale",
                  "pressure": "pressure gauge", "room": "CO2 meter of the room"}  # fmt: skip
"""A gas curve's kind, by the thing that was read."""


@dataclass(frozen=True)
class Row:
    """One amount: its words, grams, where it lies 95 times of 100, and how it is known."""

    words: str
    grams: str
    range: str
    mark: str


def rows(a: Any) -> dict[str, list[Row]]:
    """What went in, what came out, and what was harvested, in grams."""
    found = a.estimate
    if found is None:
        return {}
    into = [_row(WENT_IN[key], found[key]) for key in WENT_IN]
    pitched = found.recipe.feed.inoculum_g
    if nominal(pitched) > 0:
        into.append(_amount("yeast put in, dry", pitched, Mark.MEASURED))
    out = [_row(words, found[key]) for key, words in CAME_OUT.items()]
    out.insert(3, _byproducts(found))
    for key, lost in not_found_g(a).items():
        out.append(_amount(f"of it not found: {CAME_OUT[key]}", lost, Mark.WORKED_OUT))
    kinds = {reading.kind for reading in found.readings}
    if not kinds & set(HARVESTED):
        return {"What went in": into, "What came out": out}
    harvested = [_row(words, found[key]) for key, words in HARVESTED.items() if key in kinds or key == "paste"]
    harvested += [_row("poured off or left behind, dry", found["losses"])] if "poured off" in kinds else []
    harvested.append(_row("lost in washing, dry", found["washings"]))
    return {"What went in": into, "What came out": out, "From the harvest": harvested}


def _row(words: str, answer: Answer) -> Row:
    return Row(words, _grams(answer.value, answer.u), _between(answer.low, answer.high, answer.u), str(answer.mark))


def _byproducts(found: Estimate) -> Row:
    """Glycerol and acids together, with what their doubts share."""
    both = sum((found.amount(key) for key in BYPRODUCTS), 0.0)
    marks = {found[key].mark for key in BYPRODUCTS}
    return _amount("glycerol and acids", both, marks.pop() if len(marks) == 1 else Mark.ASSUMED)


def _amount(words: str, amount: Number, mark: Mark) -> Row:
    """An amount that is not one of the estimate's own."""
    grams, u = nominal(amount), uncertainty(amount)
    ends = (max(grams - NORMAL_95 * u, 0.0), grams + NORMAL_95 * u)
    return Row(words, _grams(grams, u), _between(*ends, u), str(mark))


def _grams(value: float, u: float) -> str:
    """Grams, cut at the first digit of their doubt: what a person can say aloud."""
    return f"{_cut(value, u)} g"


def _cut(value: float, u: float) -> str:
    digits = max(0, -math.floor(math.log10(u))) if u > 0 and math.isfinite(u) else 2
    return rounded(round(value, digits), 0.0 if digits > 2 else 2.0 * 10.0 ** (1 - digits))[0]


def _between(low: float, high: float, u: float) -> str:
    """Where the amount lies, as a range; what may be none is said so."""
    return f"{'none' if low <= 0 else _cut(low, u)} to {_cut(high, u)} g"


def in_short(found: Estimate) -> str:
    """What became of the sugar, in one sentence."""
    sugar, alcohol, gas, yeast = (
        ("about " if found[key].mark in (Mark.ASSUMED, Mark.RECIPE) else "") + _grams(found[key].value, found[key].u)
        for key in ("sugar_used", "ethanol", "co2", "yeast")
    )
    said = f"{sugar} of sugar became {alcohol} of alcohol, {gas} of gas (CO2) and {yeast} of new yeast (dry)."
    alone = " All this follows from the recipe alone." if found["ethanol"].mark is Mark.RECIPE else ""
    return said[:1].upper() + said[1:] + alone


def headline(found: Estimate | None) -> list[Line]:
    """The first quantities, with interval and how each is known; then the pressure if the vessel stayed closed."""
    if found is None:
        return []
    lines = [_line(found[key]) for key in HEADLINE]
    if found.if_closed is not None:
        mark = str(found["pressure"].mark)
        for pressure in (found.if_closed.now, found.if_closed.warm_day):
            line = pressure.line()
            note = "; ".join(word for word in (line.note, mark) if word)
            lines.append(Line(f"had it stayed closed: {line.name}", line.value, line.unit, note, line.limits))
    return lines


def _line(answer: Answer) -> Line:
    value = ufloat(answer.value, answer.u) if answer.u > 0 and np.isfinite(answer.u) else answer.value
    return Line(answer.words, value, answer.unit, str(answer.mark), (answer.low, answer.high))


def first_words(a: Any) -> list[str]:
    """What must be said first: how far the run is, what cannot be, doubts about the readings."""
    said = [f"State of the run, as told: {a.run.state}."] if a.run.state else []
    if a.progress is not None and not a.run.state:
        stands = f"State of the run at {a.progress.at_h:.3g} h: {a.progress.stage}."
        said.append(" ".join((stands, SAYS[a.progress.stage], a.progress.how_far)).rstrip())
    if a.consistent is False and disagree(a.routes) and a.gas:
        said.append(
            "The routes to the gas contradict one another. Lag, rate and yields follow the "
            f"{READ_BY[a.gas[0].kind]}, which the rest of the batch supports."
        )
    if a.room is not None and a.room.air is not None and a.room.air.exposure is not Exposure.BELOW:
        said.insert(0, f"CO2 of the room: {a.room.air.exposure}")
    said += [*odd(a.estimate, Sort.IMPOSSIBLE), *tables_apart(a.run), *odd(a.estimate, Sort.UNLIKELY)]
    said += sums_that_differ(a.own_sums)
    return said + [f"Noticed while reading: {finding}" for finding in a.run.doubts]


def odd(found: Estimate | None, sort: Sort) -> list[str]:
    """What cannot be, or hardly can be."""
    return [] if found is None else [str(one) for one in found.oddities if one.sort is sort]


def sums_that_differ(sums: OwnSums | None) -> list[str]:
    """What the person worked out and the readings gainsay, with the slip where one makes the number."""
    differ = (
        (one for one in sums.sums.values() if one.standing in (Standing.TOO_SMALL, Standing.TOO_LARGE)) if sums else ()
    )
    return [" ".join((f"Your sum, {one.page().heading}:", *one.page().remarks)) for one in differ]


def most_likely(suspects: Suspects) -> str:
    """The mistake that would explain it, in plain words, and what would show it."""
    if suspects.first is None:
        return ""
    group = suspects.first.suspects[:3]
    words = ", or ".join(one.mistake.words for one in group)
    badly = " But even this fits badly: there may be more than one mistake." if suspects.fits_badly else ""
    check = f"What tells them apart: {suspects.first.split_by}" if len(group) > 1 else group[0].mistake.check
    return f"What most likely happened: {words}.{badly} {check[:1].upper()}{check[1:]}."


def does_it_add_up(a: Any) -> str:
    """Whether the readings can belong to one batch, in plain words."""
    if odd(a.estimate, Sort.IMPOSSIBLE):
        return "Something cannot be: one of the readings is impossible."
    if a.adds_up is None:
        return "Nothing was read, so there is nothing to hold against the recipe."
    if a.adds_up.alarm:
        return "Something does not add up: the readings contradict one another."
    return "It adds up: the readings fit together within their ±."


def false_alarms(a: Any) -> str:
    """How often an honest run would be called wrong."""
    return "" if a.adds_up is None else f"Of 100 runs without a mistake, fewer than {100 * ALARM:.0f} are called wrong."


def tables_apart(run: Run) -> list[str]:
    """Tables that were written while the batch stood, and end at times that do not go together."""
    names = {*(route.table for route in run.gas), "samples", "volumes"} & run.tables.keys()
    last = {name: float(np.nanmax(run.tables[name]["time_h"].to_numpy(float))) for name in sorted(names)
            if len(run.tables[name]) and "time_h" in run.tables[name]}  # fmt: skip
    return [str(odd) for odd in times_apart({name: hours for name, hours in last.items() if np.isfinite(hours)})]


def questions(found: Estimate | None) -> list[str]:
    """What the person was not asked for by any table, and what is taken meanwhile."""
    if found is None:
        return []
    out = []
    if not found.recipe.inoculum_told:
        low, high = 100 * usual.INOCULUM.low, 100 * usual.INOCULUM.high
        out.append(
            f"How much yeast was put in? None is told, so {low:g} to {high:g} g dry for 100 g of sugar is "
            "taken. Write it under [inoculum]."
        )
    kinds = {reading.kind for reading in found.readings}
    if kinds & set(HARVESTED) and not kinds & {"harvest share", "poured off"}:
        low, high = 100 * usual.HARVESTED.low, 100 * usual.HARVESTED.high
        out.append(
            f"How much of the yeast came into the paste? None is told, so {low:g} to {high:g} % is taken. Write "
            "share_harvested under [harvest]."
        )
    if found.state == "not stated" and not any("sugar_left" in reading.of for reading in found.readings):
        out.append(
            "Does it still make gas, has it stopped, or is the sugar used up (by a sugar test, or a density that falls "
            'no more)? Write state = "running", "stopped" or "used up" under [run]: it narrows more than most readings.'
        )
    return out


def how_good(a: Any) -> str:
    """The yield of yeast beside the best that this recipe usually gives."""
    found = a.yields.get("yeast_yield")
    if found is None or a.limits is None:
        return "Not known: without a weighed product, or alcohol and gas, the yeast of this run cannot be judged."
    if beyond_food(found):
        return (
            "More yeast grew than the recipe has food for: is a nutrient, or yeast that was put in, missing from the "
            "list of the feed? Until that is known, the run cannot be called good or bad."
        )
    best = nominal(found.share_of_limit)
    word = "Good" if best >= GOOD else "Fair" if best >= FAIR else "Low"
    return f"{word}: {_first_lower(said_of(found))}"


def beyond_food(found: Yield) -> bool:
    """Whether more grew than the nutrients of the recipe allow, beyond the ± of it."""
    share = found.share_of_limit
    return nominal(share) - NORMAL_95 * uncertainty(share) > BEYOND


def said_of(found: Yield) -> str:
    """A yield in one sentence, with how it is known where that is not by weighing."""
    known = "" if found.mark is Mark.MEASURED else f" (not measured: {found.mark} from the rest)"
    said = f"{plus_minus(found.per_g, 'g')} of {found.product} for each gram of sugar used{known}"
    if beyond_food(found):
        return f"{said}, more than the recipe has food for."
    return f"{said}: {percent(found.share_of_limit)} of {found.limit_note}."


def _first_lower(words: str) -> str:
    return words[:1].lower() + words[1:]


def would_it_hold(a: Any) -> str:
    """The pressure if the vessel had stayed closed, beside its rating."""
    if under_airlock(a.run):
        return "It is glass behind an airlock. Glass must never be closed, so no pressure is worked out."
    closed = None if a.estimate is None else a.estimate.if_closed
    if closed is None or a.estimate is None:
        return "Not known: the run does not say how large the vessel is and how much liquid stood in it."
    rated = closed.rated_bar_gauge
    limit = "" if rated is None else f" Its maker's rating is {rated:g} bar."
    now, warm = (_pressure(one.value, one.low, one.high) for one in (closed.now, closed.warm_day))
    return (
        f"Closed from the start and never opened, it would have reached {now} above the air outside at "
        f"{closed.now.temperature_C:g} °C, and {warm} on a warm day of {closed.warm_day.temperature_C:g} °C "
        f"({a.estimate['pressure'].mark}).{limit} {held_words(closed)}"
    )


def shut_beyond_rating(a: Any) -> bool:
    """Whether a vessel that is closed, or vented by hand, may come above its rating, or has none."""
    closed = None if a.estimate is None else a.estimate.if_closed
    shut = a.run.vessel.closed in ("closed", "vented")
    return closed is not None and shut and closed.verdict is not Verdict.BELOW


def held_words(closed: IfClosed) -> str:
    """What the pressure means for closing the vessel."""
    said: str = closed.page().remarks[0]
    return f"{said} Being below a rating is no promise of safety." if closed.verdict is Verdict.BELOW else said


def _pressure(value: float, low: float, high: float) -> str:
    if not np.isfinite(value):
        return "more than 12 bar"
    top = f"{high:.1f}" if np.isfinite(high) else "more than 12"
    return f"{value:.1f} bar ({max(low, 0.0):.1f} to {top})"


def to_do(a: Any) -> Iterator[str]:
    """What to look at, to measure and to change next, in the order in which it matters."""
    if a.consistent is False and a.suspects is not None and a.suspects.alarm:
        yield most_likely(a.suspects)
    yield from questions(a.estimate)
    if a.consistent is not False and a.estimate is not None and (gains := a.estimate.measure_next()):
        yield f"To measure next: {gains[0].words} (to ± {gains[0].u}) would narrow these numbers most."
    if "yeast_yield" in a.yields:
        shares = a.uncertainty_shares("yeast_yield").shares()
        act, share = next(iter(shares.items()), ("", 0.0))
        if share > LARGE_SHARE:
            yield f"Most of the yeast's ± comes from one step: {act}. Measure that better first."
    if a.run.conditions.aeration == "air pump" and "ethanol" in a.amounts:
        yield "Air carries alcohol away: a usual flow, 0.2 to 1 L a minute for each litre, is taken. Measure the air."
    if a.limits is not None and not ("yeast_yield" in a.yields and beyond_food(a.yields["yeast_yield"])):
        yield from (LIFTING[name] for name in a.limits.binding if name in LIFTING)


LARGE_SHARE: Final = 0.3
"""From this share of a ± on the step that brings it is named (a choice)."""

LIFTING: Final = {
    "energy without air": "To get more yeast of each gram of sugar: air, and sugar fed slowly; without air the energy "
    "of fermenting sets the limit.",
    "nitrogen": "To get more yeast: nitrogen may be the limit; an ammonium salt brings it.",
    "phosphorus": "To get more yeast: phosphorus may be the limit; a phosphate salt brings it.",
    "sulfur": "To get more yeast: sulfur may be the limit; ammonium sulfate brings sulfur and nitrogen.",
    "potassium": "To get more yeast: potassium may be the limit; molasses or monopotassium phosphate brings it.",
    "magnesium": "To get more yeast: magnesium may be the limit; a little Epsom salt (magnesium sulfate) brings it.",
}
"""What lifts each limit of the feed."""


@dataclass(frozen=True)
class Part:
    """A band of the picture of grams in and out; ``missing`` where it was not found."""

    words: str
    grams: float
    shown: str
    mark: str
    missing: bool = False


LEAST_U: Final = 1e-9
"""No ± is zero [g]."""
LEAST_BAND: Final = 0.005
"""Bands of a smaller share of the sugar are not drawn [-]."""


def in_and_out_g(a: Any) -> tuple[list[Part], list[Part]]:
    """What went in and what came out [g], by the estimate, with what was made and not found as parts of their own."""
    found = a.estimate
    assert found is not None
    sugar = found["sugar_fed"].value
    lost = not_found_g(a)
    out = []
    for key, words in CAME_OUT.items():
        answer = found[key]
        kept = answer.value - nominal(lost.get(key, 0.0))
        out.append(Part(words, kept, _grams(kept, answer.u), str(answer.mark)))
    both = _byproducts(found)
    out.insert(3, Part(both.words, sum(found[key].value for key in BYPRODUCTS), both.grams, both.mark))
    rest = sugar - sum(found[key].value for key in (*CAME_OUT, *BYPRODUCTS))
    into = [Part("sugar", sugar, _grams(sugar, found["sugar_fed"].u), str(found["sugar_fed"].mark))]
    if rest > LEAST_BAND * sugar:
        out.append(Part("water and the rest", rest, f"{rest:.2g} g", str(Mark.WORKED_OUT)))
    elif rest < -LEAST_BAND * sugar:
        into.append(Part("nutrients, air", -rest, f"{-rest:.2g} g", str(Mark.WORKED_OUT)))
    out = [part for part in out if part.grams > LEAST_BAND * sugar]
    out += [
        Part(f"not found: {CAME_OUT[key]}", nominal(g), _grams(nominal(g), uncertainty(g)), str(Mark.WORKED_OUT), True)
        for key, g in lost.items()
    ]
    return into, out


def not_found_g(a: Any) -> dict[str, Number]:
    """What was made, by all that was read together, and did not show where it was looked for [g].

    Where the readings contradict one another: what the likeliest mistake hid. Else the gas that leaked.
    """
    if a.consistent is False and a.suspects is not None and a.suspects.first is not None:
        best = state_of(a.suspects.first.suspects[0].z, a.estimate.around)
        share = float(best["co2_lost"]) / max(float(best["co2"]), 1e-12)
        caught = math.hypot(0.0, *(r.value.std_dev for r in a.estimate.readings if r.kind == "gas"))
        lost = a.estimate.amount("co2") * share + ufloat(0.0, max(caught, LEAST_U))
        return {"co2": lost} if share > LEAST_BAND else {}
    if a.estimate is None or a.estimate["co2_lost"].mark is not Mark.WORKED_OUT or a.estimate["co2_lost"].low <= 0:
        return {}
    return {"co2": a.estimate.amount("co2_lost")}
