"""What was logged around the vessel, and what it says: warmth, pH, the air of the room, CO2 in the liquid."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.cautions import CLOSED_ROOMS
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Number, Page, Written, nominal
from fermkit.batch import readings as batch
from fermkit.batch.estimate import Estimate
from fermkit.batch.readings import Reading
from fermkit.gas.curve import CO2_G_PER_MOL, GasCurve
from fermkit.gas.dissolved import co2_shaken_out, co2_titrated
from fermkit.gas.room import RoomAir, room_air, steady_ppm
from fermkit.run.prepared import PH_METER, THERMOMETER_C, mean_in_time
from fermkit.run.records import Run
from fermkit.run.sections_gas import RoomReadings
from fermkit.run.surroundings import air_changes, barometer_bar, liquid_C, outdoor_ppm

LEAST_SPAN_H: Final = 1.0
"""A fastest hour is no shorter [h]: between two readings closer together noise is fastest."""

USUAL_PH: Final = (3.4, 5.2)
"""pH at the end of a fermentation of sugar or molasses by yeast, lowest and highest (common practice, no source)."""
TOO_SOUR: Final = 3.0
"""Below it yeast works slowly (common practice, no source)."""
KEEPS_BY_ACID: Final = 4.6
"""From this pH up acid alone keeps no food: US 21 CFR 114.3(b), acidified foods."""
FALLS_BY: Final = 0.3
"""A pH that falls by less shows no acid of yeast's own (common practice, no source)."""


class Acidity(StrEnum):
    """What the pH says."""

    USUAL = "This is usual: yeast gives off acid while it takes up ammonium, and molasses holds much of it back."
    HIGH = "Higher than is usual at the end: the feed holds acid back, little was fermented, or it is not only yeast."
    STEADY = "It hardly fell: the feed holds acid back, or little was fermented."
    SOUR = "So sour that yeast works slowly: little salt of ammonium, chalk or a weaker feed helps; ask what soured it."
    LOW = "More sour than is usual: much ammonium, little in the feed to hold acid back, or bacteria of lactic acid."


@dataclass(frozen=True, repr=False)
class Around(Written):
    """Warmth and pH in time.

    Attributes
    ----------
    temperature_C : (float, float, float) or None
        Lowest, mean over the time, and highest [°C].
    warm_at_h : float
        When it was warmest [h].
    pH : (float, float, float) or None
        First, lowest and last.
    acidity : Acidity or None
    sour_at_h : float
        When it was most sour [h].
    """

    temperature_C: tuple[float, float, float] | None
    warm_at_h: float
    pH: tuple[float, float, float] | None
    acidity: Acidity | None
    sour_at_h: float = 0.0

    def page(self) -> Page:
        """Both logs in a few lines."""
        lines, said = [], []
        if self.temperature_C is not None:
            low, mean, high = self.temperature_C
            lines += [
                Line(f"temperature, {words}", ufloat(value, THERMOMETER_C), "°C", note)
                for words, value, note in (
                    ("mean over the time", mean, "as logged"), ("lowest", low, ""),
                    ("highest", high, f"at {self.warm_at_h:.3g} h"),
                )
            ]  # fmt: skip
        if self.pH is not None and self.acidity is not None:
            first, low, last = self.pH
            lines += [
                Line(f"pH, {words}", ufloat(value, PH_METER), "", note)
                for words, value, note in (
                    ("first", first, ""), ("lowest", low, f"at {self.sour_at_h:.3g} h"), ("last", last, "")
                )
            ]  # fmt: skip
            said.append(str(self.acidity))
            if last >= KEEPS_BY_ACID:
                said.append(
                    f"At pH {KEEPS_BY_ACID} and above acid alone keeps no food (US 21 CFR 114): the paste needs cold, "
                    "drying or salt, and the rules of your place come first."
                )
        return Page("Around the vessel", lines, said)


def around_of(run: Run) -> Around | None:
    """Warmth and pH as they were logged; None where neither was."""
    warm, when, sour, verdict, most = None, 0.0, None, None, 0.0
    if "temperature" in run.tables:
        time, value = _columns(run, "temperature", "temperature_C")
        if value.size:
            mean = mean_in_time(run.tables["temperature"], "temperature_C")
            warm, when = (float(value.min()), mean, float(value.max())), float(time[np.argmax(value)])
    if "acidity" in run.tables:
        time, value = _columns(run, "acidity", "pH")
        if value.size:
            sour = (float(value[0]), float(value.min()), float(value[-1]))
            verdict, most = _judged(*sour), float(time[np.argmin(value)])
    return None if warm is None and sour is None else Around(warm, when, sour, verdict, most)


def _columns(run: Run, table: str, column: str) -> tuple[Any, Any]:
    rows = run.tables[table].dropna(subset=["time_h", column]).sort_values("time_h")
    return rows["time_h"].to_numpy(float), rows[column].to_numpy(float)


def _judged(first: float, lowest: float, last: float) -> Acidity:
    if lowest < TOO_SOUR:
        return Acidity.SOUR
    if last < USUAL_PH[0]:
        return Acidity.LOW
    if last > USUAL_PH[1]:
        return Acidity.HIGH
    return Acidity.STEADY if first - last < FALLS_BY else Acidity.USUAL


def dissolved_of(run: Run) -> tuple[Reading, ...]:
    """CO2 in the liquid at the end, as measured [g/L]."""
    told, out = run.dissolved_co2, []
    bar = barometer_bar(run)
    if told.gas_mL is not None:
        _there(told.sample_mL, "sample", "[dissolved_co2]")
        warm = liquid_C(run) if told.temperature_C is None else told.temperature_C
        air = 0.0 if told.air_mL is None else told.air_mL
        grams = co2_shaken_out(told.sample_mL, air, told.gas_mL, temperature_C=warm, pressure_bar=bar)
        out.append(batch.dissolved_co2("shaken out", grams))
    if told.base_mL is not None:
        for value, key in ((told.sample_mL, "sample"), (told.strength_mol_L, "strength"), (told.flat_mL, "flat")):
            _there(value, key, "[dissolved_co2]")
        grams = co2_titrated(told.base_mL, told.strength_mol_L, told.sample_mL, flat_mL=told.flat_mL)
        out.append(batch.dissolved_co2("titrated", grams))
    return tuple(out)


def _there(value: Number | None, key: str, section: str) -> None:
    if value is None:
        raise InputError(f"{section} tells no {key}", f"{key}, with which the CO2 is worked out", f"write {key} there")


def pages_of_dissolved(found: Sequence[Reading]) -> list[Page]:
    """CO2 in the liquid, as measured."""
    return [Page("CO2 in the liquid", [Line(one.words, one.value, one.unit) for one in found])]


@dataclass(frozen=True, repr=False)
class Room(Written):
    """The room's air: what the meter showed, and what the batch can bring.

    Attributes
    ----------
    air : RoomAir or None
        The log held against the limits; None where nothing was logged.
    volume_m3 : value or None
    all_of_it_ppm : value or None
        CO2 in the room if all gas of the batch stayed in it [ppm]; None where no room is told.
    steady_ppm : value or None
        To what the fastest hour of the gas would bring it in the end [ppm].
    changes_told : bool
        Whether the air changes were told.
    """

    air: RoomAir | None
    volume_m3: Number | None
    all_of_it_ppm: Number | None
    steady_ppm: Number | None
    changes_told: bool

    def page(self) -> Page:
        """What the batch can bring, and the meter beside the limits."""
        lines = []
        if self.all_of_it_ppm is not None:
            lines.append(Line("if all its gas stayed in the room", self.all_of_it_ppm, "ppm", "nothing renewed"))
        if self.steady_ppm is not None:
            told = "" if self.changes_told else "; air changes of 0.1 to 1 an hour taken"
            lines.append(Line("if its fastest hour went on", self.steady_ppm, "ppm", f"well mixed{told}"))
        parts = [self.air.page()] if self.air is not None else []
        return Page("CO2 and the room", lines, [CLOSED_ROOMS.sentence()], parts)


def room_of(run: Run, released: Sequence[GasCurve] = (), found: Estimate | None = None) -> Room | None:
    """The room of the run: its log against the limits, and what the batch can bring; None where no room is told."""
    volume, log = run.room.volume_m3, None
    route = next((one for one in run.gas if isinstance(one, RoomReadings) and one.table in run.tables), None)
    if route is not None:
        table = run.tables[route.table].dropna(subset=["time_h", route.column])
        log = room_air(table["time_h"].to_numpy(float), table[route.column].to_numpy(float))
    if volume is None or found is None:
        return None if log is None else Room(log, None, None, None, False)
    made = found.amount("co2") / CO2_G_PER_MOL
    outside, changes = outdoor_ppm(run), air_changes(run)
    all_of_it = steady_ppm(made, volume, 1.0, outside)
    fastest = max((_fastest(curve) for curve in released), default=0.0)
    steady = steady_ppm(fastest, volume, changes, outside) if fastest > 0 and nominal(changes) > 0 else None
    return Room(log, volume, all_of_it, steady, run.room.air_changes is not None)


def _fastest(curve: GasCurve) -> float:
    """Most gas of an hour, between readings at least an hour apart [mol/h]."""
    best, first = 0.0, 0
    for last in range(1, curve.time_h.size):
        while curve.time_h[last] - curve.time_h[first + 1] >= LEAST_SPAN_H:
            first += 1
        hours = float(curve.time_h[last] - curve.time_h[first])
        if hours >= LEAST_SPAN_H:
            best = max(best, float(curve.co2_mol[last] - curve.co2_mol[first]) / hours)
    return best
