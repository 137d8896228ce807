"""Density: a measurement that sees several things at once, for the balance.

It is no independent value of the ethanol: a density mixes the sugar that went with the ethanol that came. It is one
linear equation between the amounts, and the balance takes it as one. It is a difference from the start, so that what
was dissolved all along and never fermented (salts, gums, colour) cancels.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from uncertainties import UFloat, ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import between, one_of, positive
from fermkit.basis.written import Line, Number, Page, Written, nominal
from fermkit.matter.alcohol import (
    ethanol_density,
    ethanol_mass_concentration,
    ethanol_mass_fraction,
    ethanol_pct_vol,
    ethanol_pct_vol_from_concentration,
)
from fermkit.matter.composition import molar_mass
from fermkit.matter.properties import sucrose_density, water_density
from fermkit.matter.usual import DISSOLVED_BY_YEAST, ETHANOL_MADE, GLYCEROL_MADE

STRENGTHS: Final = ("% vol", "% mass", "g/L")

GLASS_EXPANSION: Final = 25e-6
"""Cubic expansion of a glass hydrometer [1/K]: ISO 649-1 and NBS Circular 555 take 25e-6 for soda-lime glass
(from memory)."""

GLYCEROL_DENSITY: Final = 0.230
"""Rise of density per concentration of glycerol in water [kg/m3 per g/L]: 10 % by mass has 1020.7 kg/m3 at
20 °C, hence (1020.7 − 998.2)/102.1 = 0.220; 2 % has 1002.8, hence 0.229. CRC Handbook of Chemistry and Physics,
concentrative properties of aqueous solutions (from memory)."""

ADDS_UP_TO: Final = 0.02
"""How far the effects of sugar and ethanol fail to add up, of the change: beers by Balling's rule differ by 1.8 to
2.0 %."""

EXPANDS_MORE: Final = 0.2
"""How much more than water sugar and ethanol solutions may expand, of the step to 20 °C: common practice, no source."""

ADDING: Final = Act("adding up solutes", "adding up the effects of sugar and ethanol")
EXPANSION: Final = Act("liquid expansion", "expansion of the liquid")
VOLUME: Final = Act("volume kept", "volume of the liquid, before and after")

@dataclass(frozen=True, repr=False)
class MixedMeasurement(Written):
    """A measurement that sums several streams: ``Σ coefficient · amount = value``.

    Attributes
    ----------
    name : str
    coefficients : dict of str to float
        For each stream it sees, what one gram of it adds to `value`; amounts as in the balance, consumed negative.
    value : UFloat
        In grams, so that a coefficient is a bare ratio.
    remarks : tuple of str
        What it says and what it does not.
    """

    name: str
    coefficients: Mapping[str, float]
    value: UFloat
    remarks: tuple[str, ...] = ()

    def page(self) -> Page:
        """The measurement as a page."""
        lines = [Line("sum", self.value, "g")]
        lines += [Line(f"each gram of {name}", c, "g") for name, c in self.coefficients.items()]
        return Page(self.name[:1].upper() + self.name[1:], lines, self.remarks)


def convert_ethanol(value: Number, unit: str, to: str) -> Any:
    """Ethanol in water from one unit of strength to another, at 20 °C.

    Percent by volume and by mass differ by about a fifth; mixing them up is the commonest slip of all.

    Parameters
    ----------
    value : float, array or UFloat
    unit, to : "% vol", "% mass" or "g/L"

    Returns
    -------
    float, array or UFloat

    Examples
    --------
    >>> convert_ethanol(5.0, "% vol", "% mass")
    3.982
    >>> convert_ethanol(39.46, "g/L", "% vol")
    5.000

    References
    ----------
    OIML R 22:1975, International Alcoholometric Tables.
    """
    one_of(unit, STRENGTHS, "unit")
    one_of(to, STRENGTHS, "to")
    if unit == "% mass":
        value = ethanol_pct_vol(value / 100.0)
    elif unit == "g/L":
        value = ethanol_pct_vol_from_concentration(value)
    if to == "% mass":
        return 100.0 * ethanol_mass_fraction(value)
    return ethanol_mass_concentration(value) if to == "g/L" else value


def hydrometer_density(reading: Number, *, temperature_C: Number, reference_C: Number = 20.0, scale: str = "sg") -> Any:
    """Density at 20 °C of what a hydrometer floats in.

    Parameters
    ----------
    reading : float or UFloat
        What the scale shows: specific gravity, or density [kg/m3].
    temperature_C : float or UFloat
        Of the liquid [°C]; its ± is carried.
    reference_C : float or UFloat
        The temperature printed on the hydrometer [°C]: 15, 15.56 or 20.
    scale : "sg" or "kg/m3"
        "sg": relative to water at the reference temperature.

    Returns
    -------
    UFloat
        [kg/m3] at 20 °C.

    Notes
    -----
    ρ(T) = ρ_scale · (1 − γ·(T − T_ref)), γ = `GLASS_EXPANSION`; then to 20 °C with the expansion of water,
    uncertain by a fifth of the step, since sugar and ethanol expand a little more.

    Examples
    --------
    >>> print(hydrometer_density(ufloat(1.040, 0.0005), temperature_C=24.0))
    1039.0+/-0.5

    References
    ----------
    ISO 649-2:1981 (use of density hydrometers; formula from memory); water by `water_density`.
    """
    one_of(scale, ("sg", "kg/m3"), "scale")
    for warm in (temperature_C, reference_C):
        between(nominal(warm), 0.0, 60.0, "temperature [°C]")
    low, high = (0.9, 1.5) if scale == "sg" else (900.0, 1500.0)
    between(
        nominal(reading),
        low,
        high,
        "hydrometer reading",
        do="give 1.040, not 1040, for specific gravity; pass scale='kg/m3' for densities",
    )
    marked = reading * water_density(reference_C) if scale == "sg" else reading
    here = marked * (1 - GLASS_EXPANSION * (temperature_C - reference_C))
    step = water_density(20.0) / water_density(temperature_C) - 1
    return here * (1 + step + _doubt(EXPANDS_MORE * nominal(step), EXPANSION))


def _doubt(u: float, act: Act) -> Any:
    return ufloat(0.0, abs(u), tag=act) if u else 0.0


def density_change(
    start: Number,
    end: Number,
    *,
    volume_start_L: Number,
    volume_end_L: Number | None = None,
    expected_pct_vol: float = 5.0,
    sugar: str = "sucrose",
    ethanol: str = "ethanol",
    glycerol: str | None = None,
) -> MixedMeasurement:
    """What a fall in density says about sugar lost and ethanol made, as one equation.

    Parameters
    ----------
    start, end : float or UFloat
        Densities at 20 °C, of the clear liquid [kg/m3]; see `hydrometer_density`.
    volume_start_L, volume_end_L : float or UFloat
        Of the liquid [L]; the end's is the start's if left out.
    expected_pct_vol : float
        About how strong it gets, for the slope of the ethanol table [% vol].
    sugar, ethanol, glycerol : str
        What the streams are called in the balance; glycerol only if it is a stream there.

    Returns
    -------
    MixedMeasurement

    Notes
    -----
    A density above water's is taken to add up, solute by solute:
    (ρ_end − ρ_w)·V_end − (ρ_start − ρ_w)·V_start = Σ κ·amount, with κ(sugar) from the sucrose table at the first
    density and κ(ethanol) = (ρ(mixture) − ρ_w)/c from OIML R 22 at the expected strength. That the effects add up
    is good to about 2 % of the change (beers by Balling's rule differ by 1.8 to 2.0 %), which the value carries.
    Yeast must have settled.

    Examples
    --------
    >>> found = density_change(ufloat(1038.0, 0.5), ufloat(996.0, 0.5), volume_start_L=ufloat(1.0, 0.005))
    >>> found.coefficients
    {'sucrose': 0.386, 'ethanol': -0.181}
    >>> print(found.value)
    -42.0+/-1.1

    References
    ----------
    OIML R 22:1975 (ethanol); ICUMSA's sucrose densities by `sucrose_density`; CRC Handbook (glycerol).
    """
    for value, name in ((start, "density at the start"), (end, "density at the end")):
        between(nominal(value), 900.0, 1300.0, f"{name} [kg/m3]", do="give kg/m3: 1040 for a specific gravity of 1.042")
    water = float(water_density(20.0))
    late = volume_start_L if volume_end_L is None else volume_end_L
    positive(nominal(volume_start_L), "volume at the start [L]")
    positive(nominal(late), "volume at the end [L]")
    plain = (end - water) * late - (start - water) * volume_start_L
    coefficients = {sugar: _sugar_slope(nominal(start)), ethanol: _ethanol_slope(expected_pct_vol)}
    if glycerol is not None:
        coefficients[glycerol] = GLYCEROL_DENSITY
    value = plain + _doubt(ADDS_UP_TO * nominal(plain), ADDING)
    return MixedMeasurement(
        "change of density", coefficients, value,
        ("a density mixes the sugar that went with the ethanol that came: one equation for the balance, not an ethanol "
         "value of its own (for that the alcohol must be boiled off and weighed apart)",),
    )  # fmt: skip


def hydrometer_sugar(now: Number, start: Number, *, sugar: str = "sucrose", volume_ratio: Number | None = None) -> Any:
    """Sugar used since the start, from two densities: the scale of a hydrometer mixes it with the alcohol that came.

    Parameters
    ----------
    now, start : float or UFloat
        Densities at 20 °C of the clear liquid [kg/m3]; see `hydrometer_density`. Nothing added in between.
    sugar : "sucrose" or "hexose"
        What was fed. Sucrose takes up water as it is split: 1.053 g hexose from each gram.
    volume_ratio : float or UFloat, optional
        Volume of the liquid now over that at the start, samples not counted; 1.00 ± 0.01 if left out.

    Returns
    -------
    UFloat
        Hexose used [g for each litre there was at the start].

    Notes
    -----
    used · (κ_sugar + y_E κ_E − y_G κ_G) = (ρ_start − ρ_w) − (ρ_now − ρ_w)·(volume ratio), as in `density_change`,
    with what yeast usually makes of a gram of hexose: y_E 0.42 to 0.49 g ethanol, y_G 0.01 to 0.07 g glycerol.

    Examples
    --------
    >>> print(hydrometer_sugar(ufloat(1008.0, 0.5), ufloat(1046.5, 0.5)))
    87.8+/-3.5

    References
    ----------
    As for `density_change`.
    """
    one_of(sugar, ("sucrose", "hexose"), "sugar")
    for value, name in ((start, "density at the start"), (now, "density now")):
        between(nominal(value), 900.0, 1300.0, f"{name} [kg/m3]", do="give kg/m3: 1040 for a specific gravity of 1.042")
    ratio = ufloat(1.0, 0.01, VOLUME) if volume_ratio is None else volume_ratio
    between(nominal(ratio), 0.5, 1.5, "volume_ratio")
    water = float(water_density(20.0))
    fell = (start - water) - (now - water) * ratio
    kappa = _sugar_slope(nominal(start))
    fell = fell + _doubt(ADDS_UP_TO * nominal(fell), ADDING) - kappa * DISSOLVED_BY_YEAST.value()
    before = molar_mass("sucrose") / (2 * molar_mass("hexose")) if sugar == "sucrose" else 1.0
    share = kappa * before - ETHANOL_MADE.value() * _ethanol_slope(5.0) - GLYCEROL_MADE.value() * GLYCEROL_DENSITY
    return fell / share


def _sugar_slope(density: float) -> float:
    """Density above water's per g/L of sucrose, for a solution of this density."""
    fractions = np.linspace(0.001, 0.5, 500)
    densities = np.asarray(sucrose_density(fractions))
    water = float(water_density(20.0))
    w = float(np.interp(density, densities, fractions)) if density > densities[0] else fractions[10]
    return float((sucrose_density(w) - water) / (w * sucrose_density(w)))


def _ethanol_slope(pct_vol: float) -> float:
    between(pct_vol, 0.1, 20.0, "expected_pct_vol")
    mixed = float(ethanol_density(ethanol_mass_fraction(pct_vol), 20.0))
    plain = float(ethanol_density(0.0, 20.0))
    return (mixed - plain) / float(ethanol_mass_concentration(pct_vol))

