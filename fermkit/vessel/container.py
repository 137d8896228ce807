"""Pressure in a closed vessel: where the CO2 is, what warming adds, what a vent does not do.

The CO2 of a fermentation shares itself between the liquid and the gas space; both count. A calculation
is no safety device: the pages say so, and say what only a maker's rating could tell.
"""

import math
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from uncertainties import ufloat

from fermkit.basis.budget import covariance_of
from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import Floats, between, not_negative, numbers, one_of, positive
from fermkit.basis.constants import STANDARD_ATMOSPHERE_BAR
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Numbers, Page, Written, nominal, plus_minus, uncertainty
from fermkit.matter.properties import co2_solubility, co2_vs_water
from fermkit.vessel.gas_space import GasSpace, carried
from fermkit.vessel.pressures import Headroom as Headroom
from fermkit.vessel.pressures import Pressure as Pressure
from fermkit.vessel.pressures import PressureCurve as PressureCurve
from fermkit.vessel.pressures import PressureTime as PressureTime
from fermkit.vessel.pressures import Vent as Vent
from fermkit.vessel.pressures import check_produced, curve_of, first_reach

MATERIALS: Final = ("not stated", "PET", "other plastic", "steel", "aluminium", "pressure glass", "glass")
"""What a vessel may be made of; plain glass is refused as a closed vessel."""

SEALED_GASES: Final = ("air", "CO2")
"""What fills the gas space when the vessel is closed; with CO2 the liquid is saturated with it too."""

WARM_DAY_C: Final = 40.0
"""A closed vessel may stand in a warm car or in the sun: for this temperature its pressure is told too [°C] (own
choice; the rating is a matter of the warmest hour)."""


@dataclass(frozen=True, repr=False)
class Vessel(Written):
    """A closed vessel with liquid and a gas space, as the scale, the jug and the maker describe it.

    Parameters
    ----------
    total_L : float or ufloat
        All that the vessel holds when full to the lid [L].
    liquid_L : float or ufloat
        Liquid in it, measured at the temperature of closing [L].
    temperature_C : float or ufloat
        Of liquid and gas now [°C], 1.04 to 46.8.
    rated_bar_gauge : float or None
        The maker's rating [bar gauge]. Without it, whether the vessel holds is not said.
    barometer_bar : float or ufloat
        Air pressure outside [bar absolute].
    material : str
        A word of `MATERIALS`.
    pH : float, ufloat or None
        Of the liquid; from 5 up, bicarbonate holds some of the CO2 (None: not counted).
    solubility_vs_water : float, ufloat or None
        How much CO2 the liquid dissolves relative to pure water; 1 for water. None: that of a fermented liquid of
        unknown make, 0.95 ± 0.03 (`co2_vs_water`, which gives it for a known one).
    sealed_gas : "air" or "CO2"
        What fills the gas space at closing. "CO2": closed in mid-fermentation, the liquid saturated.
    closed_at_C : float, ufloat or None
        Temperature at closing [°C]; None: the present one.

    Raises
    ------
    InputError
        No gas space, a gas space larger than the vessel, plain glass, or a temperature out of range.

    Examples
    --------
    >>> bottle = Vessel(total_L=2.0, liquid_L=1.5, temperature_C=25.0)
    >>> pressure = bottle.pressure(co2_mol=0.333)
    >>> print(pressure.gauge_bar, pressure.warm_gauge_bar)
    5.01+/-0.11 6.58+/-0.12
    """

    total_L: Numbers
    liquid_L: Numbers
    temperature_C: Numbers
    rated_bar_gauge: float | None = None
    barometer_bar: Numbers = STANDARD_ATMOSPHERE_BAR
    material: str = "not stated"
    pH: Numbers = None
    solubility_vs_water: Numbers = None
    sealed_gas: str = "air"
    closed_at_C: Numbers = None

    def __post_init__(self) -> None:
        _check_volumes(nominal(self.total_L), nominal(self.liquid_L))
        one_of(self.material or "not stated", MATERIALS, "material")
        one_of(self.sealed_gas, SEALED_GASES, "sealed_gas")
        _check_material(self.material, self.rated_bar_gauge)
        positive(nominal(self.barometer_bar), "barometer [bar absolute]")
        if self.solubility_vs_water is None:
            object.__setattr__(self, "solubility_vs_water", co2_vs_water())
        positive(nominal(self.solubility_vs_water), "solubility of CO2 relative to water")
        if self.closed_at_C is None:
            object.__setattr__(self, "closed_at_C", self.temperature_C)
        co2_solubility(nominal(self.temperature_C), 1.0)
        co2_solubility(nominal(self.closed_at_C), 1.0)

    def pressure(self, co2_mol: Numbers) -> Pressure:
        """The pressure at rest, if nothing has been let out since closing.

        Parameters
        ----------
        co2_mol : float or ufloat
            CO2 *produced* since closing [mol]; not what was collected outside.

        Returns
        -------
        Pressure
            Gauge and absolute [bar], its parts, and where the CO2 is [mol], linear in every uncertain input; and the
            gauge pressure of the same vessel on a day of 40 °C.

        Notes
        -----
        n = V_liquid c(p) + V_gas p/(Z R T), solved for the partial pressure p of CO2, with the solubility c
        (Henry's law with fugacity), the bicarbonate, Z from the second virial coefficient, and
        V_gas = V_total − V_liquid − v n_dissolved (v: Garcia 2001). Sealed air and water vapour are added (Dalton).

        Raises
        ------
        InputError
            If the CO2 would press with more than 12 bar, or the swollen liquid fills the vessel.

        References
        ----------
        As in `fermkit.matter.properties`: IAPWS G7-04; Weiss 1974; Wagner & Pruss 1993. Swelling: Garcia,
        LBNL-49023 (2001). Dalton's and Henry's laws: any textbook of physical chemistry.
        """
        not_negative(nominal(co2_mol), "CO2 made since closing [mol]")
        parts = carried(self._at_rest, self._inputs(co2_mol=co2_mol))
        found = Pressure(self.in_short(), self.against_rating(parts[0]), self.liquid_L, co2_mol, *parts)
        return replace(found, doubts=self._doubts(nominal(parts[-1])), **self._on_a_warm_day(co2_mol))

    def _on_a_warm_day(self, co2_mol: Numbers) -> dict[str, Any]:
        """Gauge pressure at `WARM_DAY_C` and what it means; nothing for a vessel that is as warm already."""
        if not nominal(self.temperature_C) < WARM_DAY_C:
            return {}
        warm = self.warmed_to(WARM_DAY_C)
        try:
            gauge = carried(warm._at_rest, warm._inputs(co2_mol=co2_mol))[0]
        except InputError as too_much:
            return {"warm_rating": f"TOO MUCH on a day of {WARM_DAY_C:g} °C: {too_much.met}. Do not close it."}
        return {"warm_gauge_bar": gauge, "warm_rating": f"On a day of {WARM_DAY_C:g} °C: {self.against_rating(gauge)}"}

    def after_vent(
        self, co2_mol: Numbers, duration_min: float = 0.0, degassing_per_h: float | None = None, *, times: int = 1
    ) -> Vent:
        """What venting would and would not do.

        Parameters
        ----------
        co2_mol : float or ufloat
            CO2 produced since closing, none of it let out so far [mol].
        duration_min : float
            How long the vessel stands open [min].
        degassing_per_h : float or None
            How fast the liquid's surplus of CO2 leaves while open [1/h]. None: not at all, which
            leaves the most.
        times : int
            How often it is vented, each time after the liquid has refilled the gas space.

        Returns
        -------
        Vent

        Notes
        -----
        Opening lets the mixed gas out until it has the barometer's pressure. While open, the dissolved
        surplus decays as exp(−k t) and the CO2 that comes out washes the air out. Closed again, the CO2
        left shares itself as in `pressure`. Cooling of the gas by its expansion is not counted.

        References
        ----------
        Mass balance and Henry's law; k depends on stirring and foam (common practice, no source).
        """
        not_negative(duration_min, "duration of the vent [min]")
        between(times, 1, 1000, "number of vents")
        if degassing_per_h is not None:
            not_negative(degassing_per_h, "degassing rate [1/h]")
        before = self.pressure(co2_mol)
        if nominal(before.gauge_bar) <= 0:
            raise InputError(
                f"the vessel stands at {nominal(before.gauge_bar):.3g} bar gauge",
                "a pressure above the air outside",
                "leave it closed: there is nothing to vent",
            )
        surplus = math.exp(-(degassing_per_h or 0.0) * duration_min / 60.0)

        def vented(**inputs: float) -> Floats:
            made = inputs.pop("co2_mol")
            return self._space(**inputs).vented(made, surplus, times)

        parts = carried(vented, self._inputs(co2_mol=co2_mol))
        return Vent(before, self.against_rating(parts[0]), times, duration_min, degassing_per_h, 0.0, *parts)

    def headroom(self, bar_gauge: float | None = None, *, fraction: float = 1.0) -> Headroom:
        """How much CO2, and so how much sugar, brings this vessel to a pressure when it is kept closed.

        Parameters
        ----------
        bar_gauge : float or None
            The pressure [bar gauge]; None: the maker's rating.
        fraction : float
            Of that pressure, above 0 to 1.

        Returns
        -------
        Headroom
            CO2 [mol] and sugar [g], on top of what was in the vessel at closing.

        Notes
        -----
        The equation of `pressure`, solved the other way. Sugar by C6H12O6 → 2 C2H5OH + 2 CO2: the most CO2
        that it can make without air; growth makes less.

        Raises
        ------
        InputError
            Without a rating and without a pressure; or if the vessel stands there already.

        References
        ----------
        As in `pressure`; Gay-Lussac's equation of the fermentation.
        """
        limit = self._limit(bar_gauge, fraction)
        return Headroom(self.in_short(), limit, self.liquid_L, self._amount_at(limit))

    def pressure_over(self, fit: Any, time_h: ArrayLike | None = None) -> PressureCurve:
        """The pressure along a gas curve, had the vessel been closed all the time.

        Parameters
        ----------
        fit : GrowthFit
            Of mol CO2 *produced*: ``fit.counts == "produced"`` and a unit that starts with ``mol``.
        time_h : array-like of shape (n,), optional
            Hours since closing; None: 200 points over the readings.

        Returns
        -------
        PressureCurve
            With the 95 % band of the vessel's uncertainty and of the curve's.

        Raises
        ------
        InputError
            For any other curve: gas that was collected has left, and what stays dissolved is not in it.

        References
        ----------
        As in `pressure`; the band by linear propagation (GUM 5.1.2, 5.2.2).
        """
        check_produced(fit)
        time = np.linspace(0.0, float(fit.time_h[-1]), 200) if time_h is None else numbers(time_h, "time [h]")
        co2, u_co2, band_of = curve_of(fit, time)
        kept = co2 <= self._space().most_mol()
        early, co2_first = not bool(kept.all()), co2[0]
        if early:
            last = int(np.argmin(kept))
            time, co2, u_co2 = time[:last], co2[:last], u_co2[:last]
        if time.size == 0:
            raise InputError(
                f"a gas curve that starts at {co2_first:g} mol, beyond what this vessel could hold",
                "CO2 produced since closing, from zero on",
                "check the unit of the curve: mol, not mmol or mL",
            )
        gauge, u = self._along(co2, u_co2)
        top = int(np.argmax(gauge))
        rating = self.against_rating(ufloat(gauge[top], max(float(u[top]), 1e-12)))
        return PressureCurve(self.in_short(), rating, time, co2, gauge, u, self.rated_bar_gauge, early, band_of)

    def time_to_pressure(self, fit: Any, bar_gauge: float | None = None, *, fraction: float = 1.0) -> PressureTime:
        """When the closed vessel reaches a pressure, counted from CO2 *produced*.

        Parameters
        ----------
        fit : GrowthFit
            As in `pressure_over`.
        bar_gauge : float or None
            The pressure [bar gauge]; None: the maker's rating.
        fraction : float
            Of that pressure, above 0 to 1.

        Returns
        -------
        PressureTime
            Hours since closing; its limits are where the 95 % band of `pressure_over` crosses the pressure.

        Raises
        ------
        InputError
            For a curve of anything but mol CO2 produced, or without a rating and a pressure.

        References
        ----------
        As in `pressure_over`.
        """
        check_produced(fit)
        limit = self._limit(bar_gauge, fraction)
        needed = self._amount_at(limit)
        last = float(fit.time_h[-1])
        time = np.concatenate([np.linspace(0.0, last, 400), last * np.geomspace(1.0025, 20.0, 400)])
        co2, u_co2, band_of = curve_of(fit, time)
        gauge, u = self._along(np.minimum(co2, self._space().most_mol()), u_co2)
        early, best, late = (first_reach(time, gauge + side * u, limit) for side in (1.96, 0.0, -1.96))
        return PressureTime(self.in_short(), limit, best, (early, late), needed, last, band_of)

    def warmed_to(self, temperature_C: Numbers) -> "Vessel":
        """The same closed vessel, with the same sealed air, at another temperature [°C]."""
        return replace(self, temperature_C=temperature_C)

    def in_short(self) -> str:
        """The vessel in one phrase."""
        total, liquid, warm = (plus_minus(v) for v in (self.total_L, self.liquid_L, self.temperature_C))
        return f"{liquid} L liquid in {total} L at {warm} °C"

    def against_rating(self, gauge_bar: Numbers) -> str:
        """A gauge pressure beside the maker's rating, in words."""
        if self.rated_bar_gauge is None:
            return (
                "No maker's rating is given: this is the pressure; whether the vessel holds it cannot be "
                "said. Ask the maker for the rating, whether gauge or absolute, and at which temperature."
            )
        high = nominal(gauge_bar) + 1.96 * uncertainty(gauge_bar)
        share = f"{100 * high / self.rated_bar_gauge:.0f} % of the maker's {self.rated_bar_gauge:g} bar gauge"
        if high > self.rated_bar_gauge:
            return f"TOO MUCH: with its uncertainty the pressure reaches {share}. Do not close it."
        return (
            f"With its uncertainty the pressure reaches {share}. A rating is a limit, not a target, "
            "and it falls with age and heat."
        )

    def page(self) -> Page:
        """The vessel as it was described, with the cautions."""
        rated = "not given" if self.rated_bar_gauge is None else self.rated_bar_gauge
        return Page(
            f"A closed vessel, {self.in_short()}",
            (
                Line("vessel, full", self.total_L, "L"),
                Line("liquid", self.liquid_L, "L"),
                Line("gas space", self.total_L - self.liquid_L, "L"),
                Line("temperature", self.temperature_C, "°C"),
                Line("maker's rating, gauge", rated, "" if self.rated_bar_gauge is None else "bar"),
                Line("material", self.material),
                Line("sealed with", self.sealed_gas),
                Line("dissolves, against water", self.solubility_vs_water),
            ),
            cautions_for("closing").sentences(),
        )

    def _inputs(self, **more: Any) -> dict[str, Any]:
        """Everything that a pressure depends on, by name, as the caller gave it."""
        names = (
            "total_L",
            "liquid_L",
            "temperature_C",
            "closed_at_C",
            "barometer_bar",
            "solubility_vs_water",
        )
        own = {name: getattr(self, name) for name in names}
        return own | ({} if self.pH is None else {"pH": self.pH}) | more

    def _doubts(self, headspace_L: float) -> tuple[str, ...]:
        room = self.total_L - self.liquid_L
        if uncertainty(room) <= 0.2 * headspace_L:
            return ()
        return (
            f"The gas space is known as {plus_minus(room, 'L')} only. Its ± takes a straight line there; "
            "the true upper end is higher. Measure the room under the lid itself.",
        )

    def _space(self, **inputs: float) -> GasSpace:
        plain = {name: nominal(value) for name, value in self._inputs().items()}
        return GasSpace.closed(self.sealed_gas, **(plain | inputs))

    def _limit(self, bar_gauge: float | None, fraction: float) -> float:
        between(fraction, 1e-6, 1.0, "fraction of the pressure", do="give 0.5 for half")
        if bar_gauge is None and self.rated_bar_gauge is None:
            raise InputError(
                f"no pressure to compare with: the vessel of {nominal(self.total_L):g} L has no maker's rating",
                "rated_bar_gauge from the maker, or a pressure in bar gauge",
                "ask the maker; without a rating nobody can say how much is too much",
            )
        limit = float((self.rated_bar_gauge if bar_gauge is None else bar_gauge) or 0.0)
        positive(limit, "pressure [bar gauge]")
        return limit * fraction

    def _amount_at(self, limit: float) -> Any:
        def amount(**inputs: float) -> Floats:
            return np.array([self._space(**inputs).amount_at_gauge(limit)])

        return carried(amount, self._inputs())[0]

    def _along(self, co2: Floats, u_co2: Floats) -> tuple[Floats, Floats]:
        """Gauge pressure and its standard uncertainty for many amounts at once."""

        def gauge(n: Floats, **inputs: float) -> Floats:
            space = self._space(**inputs)
            return np.asarray(space.parts(space.co2_bar(n + space.start_mol))[0])

        step = 1e-4 * max(float(co2.max()), 1e-6)
        lower = np.maximum(co2 - 2 * step, 0.0)
        by_co2 = (gauge(co2) - gauge(lower)) / np.maximum(co2 - lower, step)
        uncertain = {name: value for name, value in self._inputs().items() if uncertainty(value) > 0}
        slopes = []
        for name, value in uncertain.items():
            centre, h = nominal(value), 1e-3 * uncertainty(value)
            slopes.append((gauge(co2, **{name: centre + h}) - gauge(co2, **{name: centre - h})) / (2 * h))
        shared = covariance_of(list(uncertain.values())) if uncertain else np.zeros((0, 0))
        J = np.array(slopes).reshape(len(uncertain), co2.size)
        return gauge(co2), np.sqrt((by_co2 * u_co2) ** 2 + np.einsum("it,ij,jt->t", J, shared, J))

    def _at_rest(self, co2_mol: float, **inputs: float) -> Floats:
        space = self._space(**inputs)
        return space.parts(space.co2_bar(co2_mol + space.start_mol))


def _check_volumes(total: float, liquid: float) -> None:
    positive(total, "total volume of the vessel [L]")
    if liquid < 0:
        raise InputError(
            f"a headspace of {total - liquid:g} L in a vessel of {total:g} L",
            "a headspace smaller than the vessel, so a liquid above zero",
            "give the liquid in the vessel, in litres",
        )
    positive(liquid, "liquid in the vessel [L]")
    if liquid >= total:
        raise InputError(
            f"no headspace: {liquid:g} L liquid in a vessel of {total:g} L",
            "a gas space above the liquid",
            "leave room, or measure the vessel full to the lid; liquid-full vessels burst on warming alone",
        )


def _check_material(material: str, rated: float | None) -> None:
    if rated is not None:
        positive(rated, "maker's rating [bar gauge]")
    if material == "glass":
        raise InputError(
            f"a closed vessel of {material}",
            "a vessel made for pressure: glass that is not fails without warning, in shards",
            "fit an airlock; if its maker rated the glass for pressure, say material='pressure glass' with the rating",
        )
    if material == "pressure glass" and rated is None:
        raise InputError(
            f"{material} without a maker's rating",
            "the maker's rating in bar gauge, which alone shows that the glass is made for pressure",
            "give rated_bar_gauge, or fit an airlock",
        )
