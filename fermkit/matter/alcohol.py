"""Ethanol and water: density, and the four ways in which alcohol is stated.

All follow from the formula of the international alcoholometric tables, OIML R 22. Alcohol in % by volume
always means volumes at 20 °C.
"""

from typing import Final

import numpy as np

from fermkit.basis.checks import Floats
from fermkit.basis.evaluation import evaluate, within
from fermkit.basis.written import Numbers

# OIML R 22:1975, International alcoholometric tables; the same formula stands in EU Council Directive
# 76/766/EEC. Public copies carry digit errors in C: these are the digits on which eight copies
# agree, one of them made from the printed page 13; the tests hold the formula to water, to ethanol and to
# a second correlation in between.
_A: Final = np.array([
    998.20123, -192.9769495, 389.1238958, -1668.103923, 13522.15441, -88292.78388,
    306287.4042, -613838.1234, 747017.2998, -547846.1354, 223446.0334, -39032.85426,
])  # fmt: skip
_B: Final = np.array([
    0.0, -0.20618513, -0.0052682542, 3.6130013e-05, -3.8957702e-07, 7.169354e-09, -9.9739231e-11,
])  # fmt: skip
_C: Final = (
    (0.1693443461530087, -10.46914743455169, 71.96353469546523, -704.7478054272792, 3924.090430035045,
     -12101.64659068747, 22486.46550400788, -26055.62982188164, 18523.73922069467, -7420.201433430137,
     1285.617841998974),
    (-0.01193013005057010, 0.2517399633803461, -2.170575700536993, 13.53034988843029, -50.29988758547014,
     109.6355666577570, -142.2753946421155, 108.0435942856230, -44.14153236817392, 7.442971530188783),
    (-0.0006802995733503803, 0.01876837790289664, -0.2002561813734156, 1.022992966719220, -2.895696483903638,
     4.810060584300675, -4.672147440794683, 2.458043105903461, -0.5411227621436812),
    (4.075376675622027e-06, -8.763058573471110e-06, 6.515031360099368e-06, -1.515784836987210e-06),
    (-2.788074354782409e-08, 1.345612883493354e-08),
)  # fmt: skip

_ETHANOL_20C: Final = float(np.sum(_A))
"""Density of ethanol at 20 °C by the formula itself [kg/m3]: 789.239 (printed: 789.24)."""

_ETHANOL_G_PER_MOL: Final = 46.069
"""Standard atomic weights, CIAAW 2021; the tests hold it to `composition.molar_mass`."""


def ethanol_density(mass_fraction: Numbers, temperature_C: Numbers) -> Numbers:
    """Density of a mixture of ethanol and water.

    Parameters
    ----------
    mass_fraction : float or array
        Grams of ethanol per gram of mixture [g/g], 0 to 1. Not percent, and not by volume.
    temperature_C : float or array
        [°C], −20 to 40.

    Returns
    -------
    float or array
        [kg/m3], the same as g/L.

    Notes
    -----
    The general formula of OIML R 22 with its 12 + 6 + 36 coefficients. It is for ethanol and water alone:
    sugar left in the sample makes it denser.

    Examples
    --------
    >>> ethanol_density(0.10, 20.0)
    981.848

    References
    ----------
    OIML R 22:1975, International alcoholometric tables; EU Council Directive 76/766/EEC, annex.
    """
    within(mass_fraction, 0.0, 1.0, "mass fraction of ethanol [g/g]", do="give grams per gram, so 0.10 for 10 %")
    within(temperature_C, -20.0, 40.0, "temperature [°C] for OIML R 22")
    return evaluate(_oiml, mass_fraction, temperature_C)


def _oiml(p: Floats, t_C: Floats) -> Floats:
    t = t_C - 20.0
    density = np.polyval(_A[::-1], p) + np.polyval(_B[::-1], t)
    for i, row in enumerate(_C, start=1):
        density = density + p * np.polyval(row[::-1], p) * t**i
    return np.asarray(density)


def ethanol_mass_fraction(pct_vol: Numbers) -> Numbers:
    """From % by volume to grams of ethanol per gram of mixture.

    Parameters
    ----------
    pct_vol : float or array
        Alcohol in % by volume at 20 °C, 0 to 100.

    Returns
    -------
    float or array
        Mass fraction [g/g].

    Notes
    -----
    Alcohol by volume q is defined by p ρ20(p) = (q/100) ρ20(1); solved for p by Newton's rule.

    Examples
    --------
    >>> ethanol_mass_fraction(10.0)
    0.080149

    References
    ----------
    OIML R 22:1975 (density); definition of alcoholic strength by volume, ibid.
    """
    within(pct_vol, 0.0, 100.0, "alcohol [% vol]", do="give percent by volume, so 5 for 5 %")
    return evaluate(_mass_fraction, pct_vol)


def _mass_fraction(pct_vol: Floats) -> Floats:
    wanted = pct_vol / 100.0 * _ETHANOL_20C
    amount = np.concatenate(([0.0], _A))  # p * density at 20 °C, as a polynomial in p
    slope = amount[1:] * np.arange(1, amount.size)
    p = wanted / 1000.0
    for _ in range(12):
        p = p - (np.polyval(amount[::-1], p) - wanted) / np.polyval(slope[::-1], p)
    return np.asarray(p)


def ethanol_pct_vol(mass_fraction: Numbers) -> Numbers:
    """From grams of ethanol per gram of mixture to % by volume at 20 °C.

    Parameters
    ----------
    mass_fraction : float or array
        [g/g], 0 to 1.

    Returns
    -------
    float or array
        [% vol], volumes at 20 °C.

    Examples
    --------
    >>> ethanol_pct_vol(0.080149)
    10.0000

    References
    ----------
    OIML R 22:1975.
    """
    within(mass_fraction, 0.0, 1.0, "mass fraction of ethanol [g/g]", do="give grams per gram, so 0.10 for 10 %")
    return evaluate(lambda p: 100.0 * p * np.polyval(_A[::-1], p) / _ETHANOL_20C, mass_fraction)


def ethanol_mass_concentration(pct_vol: Numbers, temperature_C: Numbers = 20.0) -> Numbers:
    """Grams of ethanol in a litre, from % by volume.

    Parameters
    ----------
    pct_vol : float or array
        Alcohol in % by volume (always at 20 °C), 0 to 100.
    temperature_C : float or array
        At which the litre is measured [°C]; at 20 °C the answer is 7.8924 g/L for each % by volume.

    Returns
    -------
    float or array
        [g/L].

    Examples
    --------
    >>> ethanol_mass_concentration(5.0)
    39.462
    >>> ethanol_mass_concentration(5.0, temperature_C=30.0)
    39.357

    References
    ----------
    OIML R 22:1975.
    """
    within(pct_vol, 0.0, 100.0, "alcohol [% vol]", do="give percent by volume, so 5 for 5 %")
    within(temperature_C, -20.0, 40.0, "temperature [°C] for OIML R 22")
    return evaluate(_concentration, pct_vol, temperature_C)


def _concentration(pct_vol: Floats, t_C: Floats) -> Floats:
    p = _mass_fraction(pct_vol)
    return np.asarray(pct_vol / 100.0 * _ETHANOL_20C * _oiml(p, t_C) / np.polyval(_A[::-1], p))


def ethanol_molar_concentration(pct_vol: Numbers, temperature_C: Numbers = 20.0) -> Numbers:
    """Moles of ethanol in a litre, from % by volume; see `ethanol_mass_concentration`.

    Examples
    --------
    >>> ethanol_molar_concentration(5.0)
    0.8566

    References
    ----------
    OIML R 22:1975; molar mass from the standard atomic weights.
    """
    return ethanol_mass_concentration(pct_vol, temperature_C) / _ETHANOL_G_PER_MOL


def ethanol_pct_vol_from_concentration(grams_per_L: Numbers) -> Numbers:
    """Alcohol in % by volume from grams of ethanol in a litre at 20 °C.

    Examples
    --------
    >>> ethanol_pct_vol_from_concentration(39.462)
    5.0000

    References
    ----------
    OIML R 22:1975: % by volume × 789.24 g/L / 100.
    """
    within(grams_per_L, 0.0, _ETHANOL_20C, "ethanol [g/L]")
    return evaluate(lambda c: c * (100.0 / _ETHANOL_20C), grams_per_L)
