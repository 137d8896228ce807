"""Pressure in a closed vessel: where the CO2 is, what warming adds, what a vent does not do.

The CO2 of a fermentation shares itself between the liquid and the gas space; both count. The gas
space also holds the sealed air and water vapour. A calculation is no safety device: the pages say
so, and say what only a maker's rating could tell.
"""

import math
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from uncertainties import ufloat

from fermkit.cautions import cautions_for
from fermkit.checks import not_negative, one_of, positive
from fermkit.composition import molar_mass
from fermkit.constants import STANDARD_ATMOSPHERE_BAR
from fermkit.errors import InputError
from fermkit.gas_space import GasSpace, carried, gas_mol_per_L
from fermkit.properties import co2_solubility
from fermkit.written import Line, Page, Written, nominal, plus_minus, uncertainty

Floats = NDArray[np.float64]

MATERIALS: Final = ("not stated", "PET", "other plastic", "steel", "aluminium", "pressure glass", "glass")
"""What a vessel may be made of; plain glass is refused as a closed vessel."""

SEALED_GASES: Final = ("air", "CO2")
"""What fills the gas space when the vessel is closed; with CO2 the liquid is saturated with it too."""

SOLUBILITY_DOUBT: Final = 0.03
"""Relative standard uncertainty of the solubility of CO2: published values differ by 3 % (Sander 2015)."""

NOT_COUNTED: Final = (
    "Counted: CO2 in liquid and gas space at rest, as a real gas; the sealed air with all its oxygen; "
    "water vapour; the swelling of the liquid. Not counted: walls that stretch, ethanol vapour. The liquid "
    "counts as water unless solubility_vs_water is given: finished beer and sparkling wine dissolve about a "
    "tenth less, so that the pressure is higher."
)


@dataclass(frozen=True, repr=False)
class Pressure(Written):
    """The pressure in a closed vessel at rest, and where its CO2 is.

    Pressures in bar, gauge and absolute by name; amounts in mol; each may carry its ±.
    """

    vessel: "Vessel"
    co2_mol: Any
    gauge_bar: Any
    absolute_bar: Any
    co2_bar: Any
    air_bar: Any
    water_bar: Any
    dissolved_mol: Any
    headspace_mol: Any
    headspace_L: Any

    @property
    def dissolved_g_per_L(self) -> Any:
        """CO2 in the liquid, bicarbonate counted as CO2 [g per litre of liquid as filled]."""
        return self.dissolved_mol * molar_mass("CO2") / self.vessel.liquid_L

    @property
    def dissolved_volumes(self) -> Any:
        """The same in 'volumes': litres of real CO2 gas at 0 °C and 1 atm per litre of liquid."""
        return self.dissolved_g_per_L / (molar_mass("CO2") * gas_mol_per_L(0.0, STANDARD_ATMOSPHERE_BAR))

    def page(self) -> Page:
        """Lines for the lab book, the comparison with the rating, the cautions."""
        in_liquid = plus_minus(self.dissolved_g_per_L, "g/L")
        return Page(
            f"Pressure in a closed vessel at rest, {self.vessel.in_short()}",
            (
                Line("pressure, gauge", self.gauge_bar, "bar", "above the air outside"),
                Line("pressure, absolute", self.absolute_bar, "bar"),
                Line("  of it CO2", self.co2_bar, "bar"),
                Line("  of it sealed air", self.air_bar, "bar"),
                Line("  of it water vapour", self.water_bar, "bar"),
                Line("CO2 made since closing", self.co2_mol, "mol"),
                Line("CO2 in the liquid", self.dissolved_mol, "mol", in_liquid),
                Line("CO2 in the gas space", self.headspace_mol, "mol"),
                Line("gas space", self.headspace_L, "L", "left free by the swollen liquid"),
            ),
            (
                self.vessel.against_rating(self.gauge_bar),
                NOT_COUNTED,
                *cautions_for("closing").sentences(),
            ),
        )


@dataclass(frozen=True, repr=False)
class Vent(Written):
    """What a vent does: the pressure before, at once, and after the liquid has refilled the gas space."""

    before: Pressure
    duration_min: float
    degassing_per_h: float | None
    at_once_gauge_bar: Any
    refilled_gauge_bar: Any
    refilled_absolute_bar: Any
    let_go_mol: Any
    left_mol: Any

    def page(self) -> Page:
        """Lines for the lab book and the warnings."""
        vessel = self.before.vessel
        return Page(
            f"A vent of {self.duration_min:g} min, {vessel.in_short()}",
            (
                Line("before, gauge", self.before.gauge_bar, "bar"),
                Line("at once, gauge", self.at_once_gauge_bar, "bar", "open to the air"),
                Line(
                    "after refilling, gauge", self.refilled_gauge_bar, "bar", "closed again, nothing new made"
                ),
                Line("after refilling, absolute", self.refilled_absolute_bar, "bar"),
                Line("CO2 let go", self.let_go_mol, "mol"),
                Line("CO2 left in the vessel", self.left_mol, "mol"),
            ),
            (
                self._how_open(),
                vessel.against_rating(self.refilled_gauge_bar),
                *cautions_for("venting").sentences(),
            ),
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
        How much CO2 the liquid dissolves relative to pure water. None: 1 ± 0.03.
        Finished drinks about 0.9: lager at 6 °C 2.4, sparkling wine at 10 °C 2.1 g/(L bar) [1]_.
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
    >>> print(pressure.gauge_bar)
    4.83+/-0.10

    References
    ----------
    .. [1] Liger-Belair & Cilindre, ACS Omega 6 (2021) 9672, Table 1, doi:10.1021/acsomega.1c00256.
    """

    total_L: Any
    liquid_L: Any
    temperature_C: Any
    rated_bar_gauge: float | None = None
    barometer_bar: Any = STANDARD_ATMOSPHERE_BAR
    material: str = "not stated"
    pH: Any = None
    solubility_vs_water: Any = None
    sealed_gas: str = "air"
    closed_at_C: Any = None

    def __post_init__(self) -> None:
        _check_volumes(nominal(self.total_L), nominal(self.liquid_L))
        one_of(self.material or "not stated", MATERIALS, "material")
        one_of(self.sealed_gas, SEALED_GASES, "sealed_gas")
        _check_material(self.material, self.rated_bar_gauge)
        positive(nominal(self.barometer_bar), "barometer [bar absolute]")
        if self.solubility_vs_water is None:
            doubt = ufloat(1.0, SOLUBILITY_DOUBT, tag="solubility of CO2 in this liquid")
            object.__setattr__(self, "solubility_vs_water", doubt)
        positive(nominal(self.solubility_vs_water), "solubility of CO2 relative to water")
        if self.closed_at_C is None:
            object.__setattr__(self, "closed_at_C", self.temperature_C)
        co2_solubility(nominal(self.temperature_C), 1.0)
        co2_solubility(nominal(self.closed_at_C), 1.0)

    def pressure(self, co2_mol: Any) -> Pressure:
        """The pressure at rest, if nothing has been let out since closing.

        Parameters
        ----------
        co2_mol : float or ufloat
            CO2 *produced* since closing [mol]; not what was collected outside.

        Returns
        -------
        Pressure
            Gauge and absolute [bar], its parts, and where the CO2 is [mol], linear in every uncertain input.

        Notes
        -----
        n = V_liquid c(p) + V_gas p/(Z R T), solved for the partial pressure p of CO2, with the solubility c
        (Henry's law with fugacity), the bicarbonate, Z from the second virial coefficient, and
        V_gas = V_total − V_liquid − v n_dissolved. Sealed air and water vapour are added (Dalton).

        Raises
        ------
        InputError
            If the CO2 would press with more than 12 bar, or the swollen liquid fills the vessel.

        References
        ----------
        As in `fermkit.properties`: IAPWS G7-04; Weiss 1974; Wagner & Pruss 1993. Volumes and Dalton's and
        Henry's laws: any textbook of physical chemistry.
        """
        not_negative(nominal(co2_mol), "CO2 made since closing [mol]")
        parts = carried(self._at_rest, self._inputs(co2_mol=co2_mol))
        return Pressure(self, co2_mol, *parts)

    def after_vent(
        self, co2_mol: Any, duration_min: float = 0.0, degassing_per_h: float | None = None
    ) -> Vent:
        """What venting once would and would not do.

        Parameters
        ----------
        co2_mol : float or ufloat
            CO2 produced since closing, none of it let out so far [mol].
        duration_min : float
            How long the vessel stands open [min].
        degassing_per_h : float or None
            How fast the liquid's surplus of CO2 leaves while open [1/h]. None: not at all, which
            leaves the most.

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
            return self._vented(surplus, **inputs)

        parts = carried(vented, self._inputs(co2_mol=co2_mol))
        return Vent(before, duration_min, degassing_per_h, 0.0, *parts)

    def warmed_to(self, temperature_C: Any) -> "Vessel":
        """The same closed vessel, with the same sealed air, at another temperature [°C]."""
        return replace(self, temperature_C=temperature_C)

    def in_short(self) -> str:
        """The vessel in one phrase."""
        total, liquid, warm = (plus_minus(v) for v in (self.total_L, self.liquid_L, self.temperature_C))
        return f"{liquid} L liquid in {total} L at {warm} °C"

    def against_rating(self, gauge_bar: Any) -> str:
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
            f"With its uncertainty the pressure reaches {share}. A rating is a limit and no aim, "
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

    def _at_rest(self, co2_mol: float, **inputs: float) -> Floats:
        gas_space = GasSpace.closed(self.sealed_gas, **inputs)
        return gas_space.parts(gas_space.co2_bar(co2_mol + gas_space.start_mol))

    def _vented(self, surplus: float, co2_mol: float, **inputs: float) -> Floats:
        """Gauge and absolute after refilling, CO2 let go and left, for plain numbers."""
        full = GasSpace.closed(self.sealed_gas, **inputs)
        total = co2_mol + full.start_mol
        _, _, co2, air, water, dissolved, _, room = full.parts(full.co2_bar(total))
        dry = full.barometer_bar - water
        flat = full.dissolved(dry)
        kept = min(dissolved, flat + (dissolved - flat) * surplus) if dissolved > flat else dissolved
        washed = math.exp(-(dissolved - kept) * full.RT / (full.barometer_bar * room))
        air_left = dry * air / (co2 + air) * washed
        left = kept + float(gas_mol_per_L(full.temperature_C, dry - air_left)) * room
        again = replace(full, air_mol=air_left * room / full.RT)
        parts = again.parts(again.co2_bar(left))
        return np.array([parts[0], parts[1], total - left, left])


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
            "a closed vessel of glass",
            "a vessel made for pressure: glass that is not fails without warning, in shards",
            "fit an airlock; if its maker rated the glass for pressure, say material='pressure glass' "
            "with the rating",
        )
    if material == "pressure glass" and rated is None:
        raise InputError(
            "pressure glass without a maker's rating",
            "the maker's rating in bar gauge, which alone shows that the glass is made for pressure",
            "give rated_bar_gauge, or fit an airlock",
        )
