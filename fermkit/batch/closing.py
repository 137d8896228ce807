"""If the vessel had stayed closed: the pressure from the CO2 of the estimate, now and on a warm day."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.cautions import cautions_for
from fermkit.basis.constants import OXYGEN_IN_AIR
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, nominal, uncertainty
from fermkit.matter.composition import molar_mass
from fermkit.vessel.container import Vessel

WARM_DAY_C: Final = 40.0
"""A car, a shed or a window in summer [°C]: common practice, no source."""

CO2_G: Final = molar_mass("CO2")


class Verdict(StrEnum):
    """What the pressure, at the upper end of its interval on the warm day, means for closing the vessel."""

    TOO_MUCH = "TOO MUCH: do not close it"
    NO_RATING = "no maker's rating is known: do not close it"
    BELOW = "below the maker's rating"


@dataclass(frozen=True)
class GaugeRange:
    """A gauge pressure [bar] and its 95 % interval; infinite where the equations end (12 bar of CO2)."""

    temperature_C: float
    value: float
    low: float
    high: float

    def line(self) -> Line:
        """The pressure as a line on a page."""
        name = f"pressure at {self.temperature_C:g} °C, gauge"
        if not np.isfinite(self.value):
            return Line(name, "more than 12", "bar", "beyond what is worked out here")
        u = max((self.high - self.low) / 4, 1e-9) if np.isfinite(self.high) else (self.value - self.low) / 2
        return Line(name, ufloat(self.value, u), "bar", limits=(self.low, self.high))


@dataclass(frozen=True, repr=False)
class IfClosed(Written):
    """The pressure if the vessel had stayed closed from the start, and what it means."""

    now: GaugeRange
    warm_day: GaugeRange
    rated_bar_gauge: float | None

    @property
    def verdict(self) -> Verdict:
        """By the upper end of the interval on the warm day (or now, where that is warmer)."""
        if self.rated_bar_gauge is None:
            return Verdict.NO_RATING
        worst = max(self.now.high, self.warm_day.high)
        return Verdict.TOO_MUCH if worst > self.rated_bar_gauge else Verdict.BELOW

    def page(self) -> Page:
        """Both pressures, the verdict, the cautions."""
        said = [self.verdict[:1].upper() + self.verdict[1:] + "."]
        if self.verdict is Verdict.BELOW:
            share = 100 * max(self.now.high, self.warm_day.high) / (self.rated_bar_gauge or np.inf)
            said[0] = (
                f"With its ± the pressure reaches {share:.0f} % of the maker's rating. A rating is a limit, not a "
                "target; it falls with age and heat."
            )
        lines = [self.now.line(), self.warm_day.line()]
        if self.rated_bar_gauge is not None:
            lines.append(Line("maker's rating, gauge", f"{self.rated_bar_gauge:g}", "bar"))
        return Page("If the vessel had stayed closed", lines, (*said, *cautions_for("closing").sentences()))


def if_closed(
    vessel: Vessel | None, co2_g: float, low_g: float, high_g: float, *, warm_day_C: float = WARM_DAY_C
) -> IfClosed | None:
    """The pressure that the CO2 made would have, none let out; None without a vessel.

    Parameters
    ----------
    vessel : Vessel or None
    co2_g, low_g, high_g : float
        CO2 made and the ends of its 95 % interval [g].
    warm_day_C : float
        How warm it may get [°C].

    Notes
    -----
    The interval joins that of the CO2, end by end, with the vessel's own ± in quadrature; its low end is lower by all
    the oxygen of the sealed air, which the yeast may have used up.
    """
    if vessel is None:
        return None
    amounts = (co2_g, low_g, high_g)
    return IfClosed(_gauge(vessel, amounts), _gauge(vessel.warmed_to(warm_day_C), amounts), vessel.rated_bar_gauge)


def _gauge(vessel: Vessel, amounts: tuple[float, float, float]) -> GaugeRange:
    best, low, high = (_pressure(vessel, grams / CO2_G) for grams in amounts)
    down = float(np.hypot(best[0] - low[0], 1.96 * low[1])) + low[2] if np.isfinite(best[0]) else 0.0
    return GaugeRange(
        nominal(vessel.temperature_C),
        best[0],
        best[0] - down if np.isfinite(best[0]) else low[0] - low[2],
        best[0] + float(np.hypot(high[0] - best[0], 1.96 * best[1])) if np.isfinite(high[0]) else np.inf,
    )


def _pressure(vessel: Vessel, co2_mol: float) -> tuple[float, float, float]:
    """Gauge pressure, its standard uncertainty, and what of it is the sealed air's oxygen [bar]."""
    try:
        found = vessel.pressure(max(co2_mol, 0.0))
    except InputError:
        return np.inf, 0.0, 0.0
    return nominal(found.gauge_bar), uncertainty(found.gauge_bar), OXYGEN_IN_AIR * nominal(found.air_bar)
