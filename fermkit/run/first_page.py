"""What stands first, on the screen and in the report: what became of the sugar, how it is known, what cannot be."""

from typing import Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.written import Line, interval, rounded
from fermkit.batch.closing import IfClosed
from fermkit.batch.estimate import Answer, Estimate
from fermkit.batch.impossible import Sort, times_apart
from fermkit.batch.own_sums import OwnSums, Standing
from fermkit.matter import usual
from fermkit.run.records import Run

HEADLINE: Final = ("sugar_used", "sugar_left", "ethanol", "co2", "yeast")
"""What a person asks first."""


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


def in_grams(found: Estimate) -> str:
    """The yeast in one sentence, where no yield can be given."""
    yeast, sugar = found["yeast"], found["sugar_fed"]
    return (
        f"About {rounded(yeast.value, yeast.u)[0]} g of dry yeast grew from {sugar.value:.3g} g of sugar (as hexose): "
        f"{interval(yeast.low, yeast.high, 'g')}, {yeast.mark}."
    )


def pressure_words(closed: IfClosed | None) -> list[str]:
    """What the pressure would have meant for closing the vessel."""
    return [] if closed is None else [f"If the vessel had stayed closed: {closed.page().remarks[0]}"]


def sums_that_differ(sums: OwnSums | None) -> list[str]:
    """What the person worked out and the readings gainsay, with the slip where one makes the number."""
    differ = (
        (one for one in sums.sums.values() if one.standing in (Standing.TOO_SMALL, Standing.TOO_LARGE)) if sums else ()
    )
    return [" ".join((f"Your sum, {one.page().heading}:", *one.page().remarks)) for one in differ]


def impossible(found: Estimate | None) -> list[str]:
    """What cannot be, said before any statistics."""
    return [] if found is None else [str(odd) for odd in found.oddities if odd.sort is Sort.IMPOSSIBLE]


def unlikely(found: Estimate | None) -> list[str]:
    """What hardly can be."""
    return [] if found is None else [str(odd) for odd in found.oddities if odd.sort is Sort.UNLIKELY]


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
            f"How much yeast was put in? None is told, so {low:g} to {high:g} g dry for 100 g of sugar (as hexose) is "
            "taken. Write it under [inoculum]."
        )
    if found.state == "not stated" and not any("sugar_left" in reading.of for reading in found.readings):
        out.append(
            "Does it still make gas, has it stopped, or is the sugar used up (by a sugar test, or a density that falls "
            'no more)? Write state = "running", "stopped" or "used up" under [run]: it narrows more than most readings.'
        )
    return out
