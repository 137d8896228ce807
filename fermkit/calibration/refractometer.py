"""Refractometer: °Brix before and after, and how much of the change is sugar.

A refractometer is marked for sugar in water. Alcohol, glycerol and the salts and gums of molasses bend light too, so
that a finished broth still reads some °Brix with no sugar in it. Only the difference from the start says something:
what was dissolved all along cancels, and a gram of alcohol counts as less than half a gram of sugar.
"""

from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import between, one_of, positive
from fermkit.basis.errors import InputError
from fermkit.basis.written import Number, nominal
from fermkit.calibration.density import VOLUME, MixedMeasurement
from fermkit.matter.alcohol import ethanol_mass_concentration
from fermkit.matter.composition import molar_mass
from fermkit.matter.properties import sucrose_density
from fermkit.matter.usual import DISSOLVED_BY_YEAST, ETHANOL_MADE, GLYCEROL_MADE

SUCROSE: Final = 1.428e-4
"""Rise of the refractive index at 20 °C for a g/L of sucrose: water 1.3330, 10 % by mass 1.3478 at 1038.1 kg/m3, 20 %
1.3639 at 1081.0. This and the next: CRC Handbook of Chemistry and Physics, concentrative properties of aqueous
solutions (589 nm). Within 0.2 % of it by ICUMSA's scale."""

ETHANOL: Final = (5.556e-5, 1.413e-7, -2.92e-10)
"""The same for ethanol: a + b c + d c², c in g/L; fitted to the handbook's 19 values up to 20 % by mass, each met
within 0.00005, the last digit printed."""

GLYCEROL: Final = 1.155e-4
"""The same for glycerol: 5 % by mass 1.3388 at 1009.7 kg/m3, 10 % 1.3448 at 1021.5."""

ADDS_UP_TO: Final = 0.02
"""How far the effects of sugar and alcohol fail to add up, of the change: a Lorentz–Lorenz mixture of both differs from
the sum by 0 to 0.5 g/L of some 60, and by 1.7 where there is little sugar beside 80 g/L of alcohol."""

LEAST_DOUBT: Final = 0.1
"""What no addition is better than [g/L]: a thousandth of the solids of a usual broth."""

PER_KELVIN: Final = (0.07, 0.01)
"""What a plain refractometer shows too little for each kelvin above 20 °C, and its ± up to 40 °C [°Brix/K]: water's
index falls from 1.33299 at 20 °C to 1.33250 at 25 and 1.33194 at 30 °C, and 0.00143 is 1 °Brix; syrups differ by less
than the ± (CRC Handbook of Chemistry and Physics, from memory)."""

MOST_BRIX: Final = 35.0
"""Where molasses is thinned to be read, and within the range of the constants above [°Brix]."""
WARMTH: Final = Act("warmth of a refractometer", "warmth on the refractometer's glass")
ADDING: Final = Act("adding up refraction", "adding up how sugar and alcohol bend light")


def refractometer_change(
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
    """What a fall in °Brix says about sugar lost and alcohol made, as one equation for the balance.

    Parameters
    ----------
    start, end : float or UFloat
        What the refractometer shows [°Brix], at 20 °C or corrected to it (most do so by themselves); clear liquid.
    volume_start_L, volume_end_L : float or UFloat
        Of the liquid [L]; the end's is the start's if left out.
    expected_pct_vol : float
        About how strong it gets, for the slope of the alcohol table [% vol].
    sugar, ethanol, glycerol : str
        What the streams are called in the balance; glycerol only if it is a stream there.

    Returns
    -------
    MixedMeasurement
        In grams of sucrose that would bend light as much.

    Notes
    -----
    The refractive index above water's is taken to add up, solute by solute, each in proportion to its g/L. With
    c(B) = B/100 · ρ(B) of a sucrose solution: c(end)·V_end − c(start)·V_start = Σ κ·amount, κ = 1 for sugar,
    0.41 to 0.50 for ethanol, 0.81 for glycerol. Solids that were there all along cancel.

    Examples
    --------
    >>> found = refractometer_change(ufloat(14.0, 0.2), ufloat(8.1, 0.2), volume_start_L=ufloat(1.0, 0.005))
    >>> found.coefficients
    {'sucrose': 1.0, 'ethanol': 0.425}
    >>> print(found.value)
    -64+/-4

    References
    ----------
    CRC Handbook of Chemistry and Physics (refractive index of sucrose, ethanol, glycerol); sucrose by
    `sucrose_density`.
    """
    late = volume_start_L if volume_end_L is None else volume_end_L
    positive(nominal(volume_start_L), "volume at the start [L]")
    positive(nominal(late), "volume at the end [L]")
    plain = as_sucrose(end) * late - as_sucrose(start) * volume_start_L
    coefficients = {sugar: 1.0, ethanol: ethanol_as_sucrose(expected_pct_vol)}
    if glycerol is not None:
        coefficients[glycerol] = GLYCEROL / SUCROSE
    others = DISSOLVED_BY_YEAST.value() * volume_start_L
    adding = max(ADDS_UP_TO * abs(nominal(plain)), LEAST_DOUBT * nominal(volume_start_L))
    value = plain + ufloat(0.0, adding, ADDING) + others
    remark = "a refractometer mixes sugar, alcohol and glycerol: one equation for the balance, not the sugar left"
    return MixedMeasurement("change of °Brix", coefficients, value, (remark,))


def refractometer_sugar(
    now: Number, start: Number, *, sugar: str = "sucrose", volume_ratio: Number | None = None
) -> Any:
    """Sugar used since the start, from two readings of a refractometer.

    What is left is the sugar at the start less this; the reading itself says nothing of it, since the solids of
    molasses, the alcohol and the glycerol bend light too.

    Parameters
    ----------
    now, start : float or UFloat
        What the refractometer shows [°Brix], at 20 °C or corrected to it; clear liquid, nothing added in between.
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
    used · (κ_sugar − y_E κ_E − y_G κ_G) = c(start) − c(now)·(volume ratio), with what yeast usually makes of a gram
    of hexose: y_E 0.42 to 0.49 g ethanol, y_G 0.01 to 0.07 g glycerol (`fermkit.matter.usual`). Where alcohol is
    measured as well, `refractometer_change` puts it in place of that assumption.

    Examples
    --------
    >>> print(refractometer_sugar(ufloat(8.1, 0.2), ufloat(14.0, 0.2)))
    89+/-7

    References
    ----------
    As for `refractometer_change`.
    """
    one_of(sugar, ("sucrose", "hexose"), "sugar")
    ratio = ufloat(1.0, 0.01, VOLUME) if volume_ratio is None else volume_ratio
    between(nominal(ratio), 0.5, 1.5, "volume_ratio")
    fell = as_sucrose(start) - as_sucrose(now) * ratio
    fell = fell + ufloat(0.0, max(ADDS_UP_TO * abs(nominal(fell)), LEAST_DOUBT), ADDING) - DISSOLVED_BY_YEAST.value()
    before = molar_mass("sucrose") / (2 * molar_mass("hexose")) if sugar == "sucrose" else 1.0
    made, used = ETHANOL_MADE.value(), nominal(fell) / 0.7
    for _ in range(3):  # the slope of alcohol depends a little on how much there is
        strength = max(nominal(made) * used, 1.0)
        share = before - made * _ethanol_slope(strength) - GLYCEROL_MADE.value() * (GLYCEROL / SUCROSE)
        used = nominal(fell) / nominal(share)
    return fell / share


def brix_at_20(brix: Number, temperature_C: Number) -> Any:
    """What a refractometer that does not correct for warmth would show at 20 °C [°Brix].

    Parameters
    ----------
    brix : float or UFloat
        As shown [°Brix].
    temperature_C : float or UFloat
        Of the drop on the glass [°C], 5 to 40.

    Examples
    --------
    >>> print(brix_at_20(10.0, 25.0))
    10.35+/-0.05
    """
    between(nominal(temperature_C), 5.0, 40.0, "temperature on the refractometer [°C]")
    return brix + ufloat(*PER_KELVIN, WARMTH) * (temperature_C - 20.0)


def as_sucrose(brix: Number) -> Any:
    """Grams of sucrose in a litre of the solution that reads so many °Brix, at 20 °C [g/L].

    Parameters
    ----------
    brix : float or UFloat
        [°Brix], 0 to 35: grams of sucrose in 100 g of solution.

    Examples
    --------
    >>> as_sucrose(10.0)
    103.82
    """
    between(
        nominal(brix), -1.0, MOST_BRIX, "reading of the refractometer [°Brix]",
        do="give °Brix as shown, 14.0 for 14 g sugar in 100 g; thin a syrup with water first",
    )  # fmt: skip
    # from 0 the scale is a straight line downwards: a worn instrument shows water a little below it
    return 10.0 * brix * sucrose_density(0.01 * brix if nominal(brix) > 0 else 0.0) / 1000.0


def ethanol_as_sucrose(pct_vol: float) -> float:
    """Grams of sucrose that bend light as much as a gram of ethanol, up to this strength [% vol]."""
    if not 0.0 < pct_vol <= 20.0:
        raise InputError(f"expected_pct_vol is {pct_vol:g}", "0.1 to 20 % vol", "say about how strong it gets")
    return _ethanol_slope(float(ethanol_mass_concentration(pct_vol)))


def _ethanol_slope(grams_per_L: float) -> float:
    a, b, d = ETHANOL
    return (a + b * grams_per_L + d * grams_per_L**2) / SUCROSE
