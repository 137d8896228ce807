"""What a closed vessel answers: pressure at rest, along a gas curve, at a vent, and how much it could hold."""

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import Floats
from fermkit.basis.constants import OXYGEN_IN_AIR, STANDARD_ATMOSPHERE_BAR
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Numbers, Page, Written, interval, nominal, plus_minus, uncertainty
from fermkit.matter.composition import molar_mass
from fermkit.matter.properties import MOST_CO2_BAR
from fermkit.vessel.gas_space import gas_mol_per_L

NOT_COUNTED: Final = (
    "Counted: CO2 in liquid and gas space at rest, as a real gas; the sealed air with all its oxygen (yeast uses it "
    "up, so the true pressure is up to a fifth of the air's own lower: the safe side); water vapour; the swelling of "
    "the liquid. Not counted: walls that stretch, ethanol vapour. If nothing else is said, the liquid is taken to "
    "dissolve 0 to 10 % less CO2 than water, as fermented liquids do."
)


@dataclass(frozen=True, repr=False)
class Pressure(Written):
    """The pressure in a closed vessel at rest, and where its CO2 is.

    Pressures in bar, gauge and absolute by name; amounts in mol; each may carry its ±. ``about`` and
    ``rating`` say in words which vessel, and how the pressure stands beside the maker's rating; ``warm_gauge_bar`` and
    ``warm_rating`` the same on a day of 40 °C.
    """

    about: str
    rating: str
    liquid_L: Numbers
    co2_mol: Numbers
    gauge_bar: Numbers
    absolute_bar: Numbers
    co2_bar: Numbers
    air_bar: Numbers
    water_bar: Numbers
    dissolved_mol: Numbers
    headspace_mol: Numbers
    headspace_L: Numbers
    doubts: tuple[str, ...] = ()
    warm_gauge_bar: Numbers = None
    warm_rating: str = ""

    @property
    def gauge_limits(self) -> tuple[float, float]:
        """What the gauge would show [bar], 95 %: from all oxygen of the sealed air used up to none of it.

        `gauge_bar` itself keeps to the safe side, with none used.
        """
        middle, half = nominal(self.gauge_bar), 1.96 * uncertainty(self.gauge_bar)
        return middle - half - OXYGEN_IN_AIR * nominal(self.air_bar), middle + half

    @property
    def dissolved_g_per_L(self) -> Any:
        """CO2 in the liquid, bicarbonate counted as CO2 [g per litre of liquid as filled]."""
        return self.dissolved_mol * molar_mass("CO2") / self.liquid_L

    @property
    def dissolved_volumes(self) -> Any:
        """The same in 'volumes': litres of real CO2 gas at 0 °C and 1 atm per litre of liquid [-]."""
        return self.dissolved_mol / self.liquid_L / gas_mol_per_L(0.0, STANDARD_ATMOSPHERE_BAR)

    def page(self) -> Page:
        """Lines for the lab book, the comparison with the rating, the cautions."""
        in_liquid = plus_minus(self.dissolved_g_per_L, "g/L")
        warm = []
        if self.warm_gauge_bar is not None:
            warm = [Line("on a warm day, gauge", self.warm_gauge_bar, "bar", "at 40 °C")]
        return Page(
            f"Pressure in a closed vessel at rest, {self.about}",
            (
                Line("pressure, gauge", self.gauge_bar, "bar", "above the air outside", self.gauge_limits),
                *warm,
                Line("pressure, absolute", self.absolute_bar, "bar"),
                Line("  of it CO2", self.co2_bar, "bar"),
                Line("  of it sealed air", self.air_bar, "bar"),
                Line("  of it water vapour", self.water_bar, "bar"),
                Line("CO2 made since closing", self.co2_mol, "mol"),
                Line("CO2 in the liquid", self.dissolved_mol, "mol", in_liquid),
                Line("CO2 in the gas space", self.headspace_mol, "mol"),
                Line("gas space", self.headspace_L, "L", "left free by the swollen liquid"),
            ),
            (self.rating, *filter(None, [self.warm_rating]), *self.doubts, NOT_COUNTED,
            *cautions_for("closing").sentences()),
        )


@dataclass(frozen=True, repr=False)
class Vent(Written):
    """What a vent does: the pressure before, at once, and after the liquid has refilled the gas space."""

    before: Pressure
    rating: str
    times: int
    duration_min: float
    degassing_per_h: float | None
    at_once_gauge_bar: float
    refilled_gauge_bar: Numbers
    refilled_absolute_bar: Numbers
    let_go_mol: Numbers
    left_mol: Numbers

    def page(self) -> Page:
        """Lines for the lab book and the warnings."""
        vents = "A vent" if self.times == 1 else f"{self.times} vents"
        return Page(
            f"{vents} of {self.duration_min:g} min, {self.before.about}",
            (
                Line("before, gauge", self.before.gauge_bar, "bar"),
                Line("at once, gauge", self.at_once_gauge_bar, "bar", "open to the air"),
                Line("after refilling, gauge", self.refilled_gauge_bar, "bar", "closed again, nothing new made"),
                Line("after refilling, absolute", self.refilled_absolute_bar, "bar"),
                Line("CO2 let go", self.let_go_mol, "mol"),
                Line("CO2 left in the vessel", self.left_mol, "mol"),
            ),
            (self._how_open(), self.rating, *cautions_for("venting").sentences()),
        )

    def _how_open(self) -> str:
        if self.degassing_per_h is None:
            return (
                "The liquid is taken to give off nothing while open, which leaves the most in it: how fast "
                "it degasses (degassing_per_h) is not known. Left open until it is flat, it would come back "
                "to no pressure."
            )
        rate = f"exp(-{self.degassing_per_h:g} t), t in hours"
        return f"While open, the liquid's surplus of CO2 falls as {rate}."


@dataclass(frozen=True, repr=False)
class PressureCurve(Written):
    """The pressure along a gas curve, if the vessel had been closed all the time.

    ``time_h``, ``co2_mol``, ``gauge_bar`` and its 95 % band ``low_bar``, ``high_bar`` are for a picture.
    """

    about: str
    rating: str
    time_h: Floats
    co2_mol: Floats
    gauge_bar: Floats
    u_bar: Floats
    rated_bar_gauge: float | None
    ends_early: bool
    band_of: str

    @property
    def low_bar(self) -> Floats:
        """Lower end of the 95 % band [bar gauge]."""
        return self.gauge_bar - 1.96 * self.u_bar

    @property
    def high_bar(self) -> Floats:
        """Upper end of the 95 % band [bar gauge]."""
        return self.gauge_bar + 1.96 * self.u_bar

    def page(self) -> Page:
        """The highest pressure and when, with the cautions."""
        top = int(np.argmax(self.gauge_bar))
        limits = (float(self.low_bar[top]), float(self.high_bar[top]))
        early = (
            f"From {self.time_h[-1]:.3g} h on the CO2 alone would press with more than {MOST_CO2_BAR:g} bar; the "
            "curve is not worked out there."
        )
        return Page(
            f"Pressure along the gas curve, never vented, {self.about}",
            (
                Line("highest, gauge", float(self.gauge_bar[top]), "bar", limits=limits),
                Line("at", float(self.time_h[top]), "h"),
                Line("CO2 made by then", float(self.co2_mol[top]), "mol"),
            ),
            (
                self.rating,
                *([early] if self.ends_early else []),
                self.band_of,
                NOT_COUNTED,
                *cautions_for("closing").sentences(),
            ),
        )


@dataclass(frozen=True, repr=False)
class PressureTime(Written):
    """When a closed vessel reaches a pressure, from the CO2 produced; never vented."""

    about: str
    bar_gauge: float
    time_h: float
    limits_h: tuple[float, float]
    co2_mol: Numbers
    fitted_until_h: float
    band_of: str

    def page(self) -> Page:
        """Lines for the lab book and the cautions."""
        when = "never by this curve" if math.isinf(self.time_h) else self.time_h
        return Page(
            f"When the closed vessel reaches {self.bar_gauge:g} bar gauge, {self.about}",
            (
                Line("reached after", when, "" if isinstance(when, str) else "h", interval(*self.limits_h, "h")),
                Line("CO2 made by then", self.co2_mol, "mol"),
            ),
            (*self._remarks(), NOT_COUNTED, *cautions_for("closing").sentences()),
        )

    def _remarks(self) -> list[str]:
        said = []
        if self.limits_h[0] < math.inf:
            said.append(f"Act before {self.limits_h[0]:.3g} h: that is the early end, and a curve can be wrong.")
        said.append(self.band_of)
        if self.fitted_until_h < self.time_h < math.inf:
            said.append(f"A forecast beyond the last reading at {self.fitted_until_h:.3g} h.")
        return said


@dataclass(frozen=True, repr=False)
class Headroom(Written):
    """How much CO2, and how much sugar, it takes to bring a closed vessel to a pressure."""

    about: str
    bar_gauge: float
    liquid_L: Numbers
    co2_mol: Numbers

    @property
    def hexose_g(self) -> Any:
        """Glucose or fructose that makes this CO2 when all of it ferments [g]: 2 mol CO2 a mole."""
        return self.co2_mol / 2 * molar_mass("C6H12O6")

    @property
    def sucrose_g(self) -> Any:
        """Sucrose that makes this CO2 when all of it ferments [g]: 4 mol CO2 a mole."""
        return self.co2_mol / 4 * molar_mass("C12H22O11")

    def page(self) -> Page:
        """Lines for the lab book; the least amount that could already be too much; the cautions."""
        least = nominal(self.hexose_g) - 1.645 * uncertainty(self.hexose_g)
        return Page(
            f"What brings the closed vessel to {self.bar_gauge:g} bar gauge, {self.about}",
            (
                Line("CO2", self.co2_mol, "mol"),
                Line("as glucose or fructose", self.hexose_g, "g", plus_minus(self.hexose_g / self.liquid_L, "g/L")),
                Line("as sucrose", self.sucrose_g, "g", plus_minus(self.sucrose_g / self.liquid_L, "g/L")),
            ),
            (
                f"With its uncertainty {max(least, 0.0):.3g} g of glucose or fructose may already reach it (one-sided, "
                "95 %). Sugar, starch and extract that were in the liquid before count too. This is where the "
                "limit lies, not how much to take.",
                NOT_COUNTED,
                *cautions_for("closing").sentences(),
            ),
        )


def check_produced(fit: Any) -> None:
    """Refuse a gas curve of anything but mol CO2 produced."""
    if fit.counts != "produced" or not str(fit.unit).startswith("mol"):
        raise InputError(
            f"a curve that counts {fit.counts or 'nothing stated'!r} in {fit.unit or 'no unit'!r}",
            "CO2 produced, in mol: gas that was collected has left, and the dissolved part is not in it",
            "turn the readings into mol CO2 produced first, and fit that",
        )


def curve_of(fit: Any, time: Floats) -> tuple[Floats, Floats, str]:
    """CO2 on the curve, never below zero, its standard uncertainty, and what the band holds in words."""
    co2 = np.maximum(np.asarray(fit.predict(time), dtype=float), 0.0)
    low, high = (np.asarray(end, dtype=float) for end in fit.band(time))
    u = (high - low) / (2 * 1.96)
    if np.isfinite(u).all():
        return co2, u, "The band holds the vessel's ± and that of the fitted curve."
    return co2, np.zeros_like(co2), "The band holds the vessel's ± alone: the readings give the curve none."


def first_reach(time: Floats, gauge: Floats, limit: float) -> float:
    """First time at which a pressure is reached, on straight lines; infinite if it never is."""
    reached = gauge >= limit
    if not reached.any():
        return math.inf
    i = int(np.argmax(reached))
    if i == 0:
        return float(time[0])
    share = (limit - gauge[i - 1]) / (gauge[i] - gauge[i - 1])
    return float(time[i - 1] + share * (time[i] - time[i - 1]))
