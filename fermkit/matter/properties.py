"""Published physical properties of what is in the jar: water, sugar and CO2 (alcohol: see `alcohol`).

Each has its range and its source, takes numbers or arrays (or values with uncertainty, which stay
correlated), and refuses what lies outside the range of its source.
"""

from typing import Final

import numpy as np

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.evaluation import evaluate, within
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Numbers
from fermkit.matter.alcohol import ethanol_density as ethanol_density
from fermkit.matter.alcohol import ethanol_mass_concentration as ethanol_mass_concentration
from fermkit.matter.alcohol import ethanol_mass_fraction as ethanol_mass_fraction
from fermkit.matter.alcohol import ethanol_molar_concentration as ethanol_molar_concentration
from fermkit.matter.alcohol import ethanol_pct_vol as ethanol_pct_vol
from fermkit.matter.alcohol import ethanol_pct_vol_from_concentration as ethanol_pct_vol_from_concentration

# Wagner & Pruss 1993, as in IAPWS G7-04 and IAPWS-95.
_PSAT: Final = ((-7.85951783, 1.0), (1.84408259, 1.5), (-11.7866497, 3.0),
                (22.6807411, 3.5), (-15.9618719, 4.0), (1.80122502, 7.5))  # fmt: skip
_CRITICAL_K: Final = 647.096
_CRITICAL_BAR: Final = 220.64

# IAPWS SR6-08 (2011), liquid water at 0.1 MPa: specific volume in terms of alpha and beta.
_VOLUME_ALPHA: Final = ((6.74458446e3, 4), (-2.22521604e5, 5), (1.00231247e8, 7),
                        (-1.63552118e9, 8), (8.32299658e9, 9))  # fmt: skip
_VOLUME_BETA: Final = ((5.78545292e-3, 1), (-1.53195665e-2, 2), (3.11337859e-2, 3),
                       (-4.23546241e-2, 4), (3.38713507e-2, 5), (-1.19946761e-2, 6))  # fmt: skip

_WATER_G_PER_MOL: Final = 18.015
"""Standard atomic weights, CIAAW 2021; the tests hold it to `composition.molar_mass`."""

_O2_HENRY: Final = (-9.44833, 4.43822, 11.42005)
"""IAPWS G7-04: coefficients of the Henry constant of O2 in water."""

_CO2_WEISS: Final = (-58.0931, 90.5069, 22.2940)
"""Weiss 1974: coefficients of ln K0, K0 in mol/(L atm), fitted to the measurements of Murray & Riley 1971."""

_CO2_PARTIAL_VOLUME_L: Final = 0.0323
"""Partial molar volume of CO2 in water [L/mol]: Weiss 1974 (32.3 ± 0.5 cm3/mol)."""


def water_density(temperature_C: Numbers) -> Numbers:
    """Density of pure liquid water at ordinary pressure.

    Parameters
    ----------
    temperature_C : float or array
        [°C], 0 to 100.

    Returns
    -------
    float or array
        [kg/m3].

    Examples
    --------
    >>> water_density(20.0)
    998.206

    References
    ----------
    IAPWS SR6-08 (2011), Properties of liquid water at 0.1 MPa; Pátek et al., J. Phys. Chem. Ref. Data
    38 (2009) 21.
    """
    within(temperature_C, 0.0, 100.0, "temperature [°C] for the density of water")
    return evaluate(_water_density, temperature_C)


def _water_density(t_C: Floats) -> Floats:
    T = t_C + ZERO_CELSIUS_K
    alpha, beta = 10.0 / (593.0 - T), 10.0 / (T - 232.0)
    volume = 1.93763157e-2 + sum(a * alpha**n for a, n in _VOLUME_ALPHA) + sum(b * beta**n for b, n in _VOLUME_BETA)
    return np.asarray(1.0 / (461.51805 * 10.0 / 1e5 * volume))


def water_vapour_pressure(temperature_C: Numbers) -> Numbers:
    """Pressure of water vapour over pure water: what a collected gas holds besides the CO2.

    Parameters
    ----------
    temperature_C : float or array
        [°C], 0 to 373.

    Returns
    -------
    float or array
        [bar].

    Examples
    --------
    >>> water_vapour_pressure(25.0)
    0.031698

    References
    ----------
    Wagner & Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, eq. 1, as used in IAPWS G7-04 and IAPWS-95.
    """
    within(temperature_C, 0.0, 373.0, "temperature [°C] for the vapour pressure of water")
    return evaluate(_psat, temperature_C)


def _psat(t_C: Floats) -> Floats:
    Tr = (t_C + ZERO_CELSIUS_K) / _CRITICAL_K
    return np.asarray(_CRITICAL_BAR * np.exp(sum(a * (1.0 - Tr) ** b for a, b in _PSAT) / Tr))


def o2_solubility(temperature_C: Numbers, o2_pressure_bar: Numbers) -> Numbers:
    """How much oxygen a litre of water holds under a partial pressure of oxygen.

    Parameters
    ----------
    temperature_C : float or array
        [°C], 1 to 100.
    o2_pressure_bar : float or array
        Partial pressure of oxygen, absolute [bar], 0 to 5; in moist air at 25 °C and 1 atm 0.2056.

    Returns
    -------
    float or array
        [mol/L], pure water; sugar and salts hold less (common practice, no source).

    Notes
    -----
    x = p/kH, ideal gas, mol/L = x ρ/M: the solution is so thin that nothing else matters. Sources differ: the
    handbooks of water analysis (Benson & Krause) give 0.8 to 1.1 % less at 20 to 40 °C.

    Examples
    --------
    >>> 32.0 * 1000 * o2_solubility(25.0, 0.2056)  # mg/L
    8.34

    References
    ----------
    IAPWS G7-04; Fernández-Prini, Alvarez & Harvey, J. Phys. Chem. Ref. Data 32 (2003) 903.
    """
    within(temperature_C, 1.0, 100.0, "temperature [°C] for the solubility of O2")
    within(o2_pressure_bar, 0.0, 5.0, "pressure of O2 [bar, absolute]")
    return evaluate(_oxygen, temperature_C, o2_pressure_bar)


def _oxygen(t_C: Floats, bar: Floats) -> Floats:
    Tr = (t_C + ZERO_CELSIUS_K) / _CRITICAL_K
    tau = 1.0 - Tr
    a, b, c = _O2_HENRY
    henry = _psat(t_C) * np.exp(a / Tr + b * tau**0.355 / Tr + c * Tr**-0.41 * np.exp(tau))
    return np.asarray(bar / henry * _water_density(t_C) / _WATER_G_PER_MOL)


def co2_second_virial(temperature_C: Numbers) -> Numbers:
    """Second virial coefficient of CO2: how far the gas is from ideal, as Z = 1 + B n/V.

    Parameters
    ----------
    temperature_C : float or array
        [°C], −8 to 47 (265 to 320 K).

    Returns
    -------
    float or array
        B [L/mol]; negative, so that the real gas takes less room than the ideal one.

    Examples
    --------
    >>> co2_second_virial(25.0)
    -0.1232

    References
    ----------
    Weiss, Marine Chemistry 2 (1974) 203, eq. 6, doi:10.1016/0304-4203(74)90015-2, fitted to the data of
    Sengers et al. 1971 (coefficients read in public carbonate-system code, not in the paper; held to the
    Span–Wagner equation in the tests).
    """
    within(temperature_C, -8.0, 46.85, "temperature [°C] for the second virial coefficient of CO2")
    return evaluate(_virial, temperature_C)


def _virial(t_C: Floats) -> Floats:
    T = t_C + ZERO_CELSIUS_K
    return np.asarray((-1636.75 + 12.0408 * T - 3.27957e-2 * T**2 + 3.16528e-5 * T**3) / 1000.0)


def co2_compressibility(temperature_C: Numbers, co2_pressure_bar: Numbers) -> Numbers:
    """Compressibility factor Z = pV/(nRT) of CO2, from its second virial coefficient alone.

    Parameters
    ----------
    temperature_C : float or array
        [°C], −8 to 47.
    co2_pressure_bar : float or array
        Partial pressure, absolute [bar], 0 to 12. The neglected third virial term is 0.1 % at 10 bar.

    Returns
    -------
    float or array

    Notes
    -----
    Z = 1 + B n/V with n/V = p/(Z R T), so Z = (1 + √(1 + 4 B p/(R T)))/2.

    Examples
    --------
    >>> co2_compressibility(25.0, 5.0)
    0.9745

    References
    ----------
    Weiss 1974 for B, as in `co2_second_virial`.
    """
    within(temperature_C, -8.0, 46.85, "temperature [°C] for the second virial coefficient of CO2")
    within(co2_pressure_bar, 0.0, MOST_CO2_BAR, "pressure of CO2 [bar, absolute]")
    return evaluate(_compressibility, temperature_C, co2_pressure_bar)


def _compressibility(t_C: Floats, bar: Floats) -> Floats:
    slope = _virial(t_C) * bar / (L_BAR_GAS_CONSTANT * (t_C + ZERO_CELSIUS_K))
    return np.asarray((1.0 + np.sqrt(1.0 + 4.0 * slope)) / 2.0)


def co2_solubility(temperature_C: Numbers, co2_pressure_bar: Numbers) -> Numbers:
    """How much CO2 a litre of water holds when it is in balance with the gas above it.

    Every room takes this one value. A fermented liquid holds less: multiply by `co2_vs_water`.

    Parameters
    ----------
    temperature_C : float or array
        [°C], 0 to 46.8; above 40 the equation is carried on.
    co2_pressure_bar : float or array
        Partial pressure of CO2, absolute [bar], 0 to 12: not the total pressure and not the gauge's.

    Returns
    -------
    float or array
        Dissolved CO2 [mol/L], bicarbonate not counted (see `bicarbonate_factor`).

    Notes
    -----
    c = K0 f exp(v (1 atm − p)/(R T)), with the fugacity f = p exp(B p/(R T)) and the partial molar volume v; then
    c/(1 + c v), per litre of the swollen liquid. ln K0 = A1 + A2 (100/T) + A3 ln(T/100). Within 0.7 % of what
    Murray & Riley measured from 1 to 35 °C; IAPWS G7-04, the other source in use, is 4.5 % lower at 1 °C and
    0.5 % higher at 40 to 47 °C.

    Examples
    --------
    >>> co2_solubility(25.0, 1.01325)
    0.03376

    References
    ----------
    Weiss, Marine Chemistry 2 (1974) 203, eq. 12 and table I, doi:10.1016/0304-4203(74)90015-2; measurements: Murray &
    Riley, Deep-Sea Res. 18 (1971) 533, as in the IUPAC–NIST Solubility Database.
    """
    within(temperature_C, 0.0, 46.85, "temperature [°C] for the solubility of CO2")
    within(co2_pressure_bar, 0.0, MOST_CO2_BAR, "pressure of CO2 [bar, absolute]")
    return evaluate(_dissolved, temperature_C, co2_pressure_bar)


def _dissolved(t_C: Floats, bar: Floats) -> Floats:
    T = t_C + ZERO_CELSIUS_K
    a1, a2, a3 = _CO2_WEISS
    per_bar = np.exp(a1 + a2 * 100.0 / T + a3 * np.log(T / 100.0)) / STANDARD_ATMOSPHERE_BAR
    beyond = (_virial(t_C) * bar + _CO2_PARTIAL_VOLUME_L * (STANDARD_ATMOSPHERE_BAR - bar)) / (L_BAR_GAS_CONSTANT * T)
    thin = per_bar * bar * np.exp(beyond)
    return np.asarray(thin / (1.0 + thin * _CO2_PARTIAL_VOLUME_L))


MOST_CO2_BAR: Final = 12.0
"""Partial pressure of CO2 up to which its properties are worked out, absolute [bar]."""

USUAL_CO2_VS_WATER: Final = (0.90, 1.00)
"""CO2 that a fermented liquid of unknown make holds, over what water holds, lowest and highest: lager at 6 °C 0.93,
sparkling wine at 10 °C 0.93 (Liger-Belair & Cilindre, ACS Omega 6 (2021) 9672, Table 1); 0.90 is 100 g of sugar and 5 g
of salts in a litre by `co2_vs_water`."""

_SUGAR_HOLDS_BACK: Final = (3.8e-4, 0.5e-4)
"""Fall of log10 of the solubility per g/L of sugar, with its ±: sucrose at 20 °C, Usher, J. Chem. Soc. 97 (1910) 66
(from memory: 0.877 in water, 0.846, 0.815, 0.756 and 0.649 in 0.125, 0.25, 0.5 and 1 mol/L)."""

_ETHANOL_HOLDS_BACK: Final = (1.8e-3, 0.6e-3)
"""The same per % vol of ethanol, up to about 15: Findlay & Shen, J. Chem. Soc. 101 (1912) 1459 at 25 °C (from memory:
0.825 in water, 0.812 and 0.786 with 2.95 and 8.83 g in 100 mL). A minimum at higher contents: Postigo & Katz, J.
Solution Chem. 16 (1987) 1015 (abstract read)."""

_SALTS_HOLD_BACK: Final = (1.7e-3, 0.4e-3)
"""The same per g/L of salts: 1.2e-3 (KCl) to 1.9e-3 (NaCl) by the ion table of Weisenberger & Schumpe, AIChE J. 42
(1996) 298 (from memory); sea salt 2.2e-3 by Weiss 1974."""

_RULE_OF_LOGS: Final = 0.01
"""Relative standard uncertainty of adding the three up, where nothing else is known: own judgement from drinks (0.93
measured; 0.95 for lager and 0.94 for sparkling wine by the rule)."""


def co2_vs_water(*, sugar_g_L: Numbers = None, ethanol_pct_vol: Numbers = None, salts_g_L: Numbers = None) -> Numbers:
    """How much CO2 a liquid holds in balance, over what water holds: sugar, alcohol and salts hold some back.

    Parameters
    ----------
    sugar_g_L : value, optional
        Sugar and what is like it in the liquid [g/L], 0 to 350.
    ethanol_pct_vol : value, optional
        Alcohol [% vol], 0 to 15.
    salts_g_L : value, optional
        Salts, for molasses the ash [g/L], 0 to 60.

    Returns
    -------
    value
        Factor to `co2_solubility` [-]. With nothing said, anywhere in `USUAL_CO2_VS_WATER`; what is not said beside
        something that is counts as none.

    Notes
    -----
    log10 of the factor is −(k_sugar c + k_ethanol q + k_salts c), added up as the rule of Sechenov has it.

    Examples
    --------
    >>> print(co2_vs_water())
    0.950+/-0.029
    >>> print(co2_vs_water(sugar_g_L=40.0, ethanol_pct_vol=5.0))
    0.946+/-0.013

    References
    ----------
    The rule for sugars and salts side by side: Rischbieter, Schumpe & Wunder, J. Chem. Eng. Data 41 (1996) 809 (first
    page read). The three slopes: `_SUGAR_HOLDS_BACK`, `_ETHANOL_HOLDS_BACK`, `_SALTS_HOLD_BACK`, each with its source.
    """
    from uncertainties import ufloat
    from uncertainties.umath import exp

    parts = (
        (sugar_g_L, 350.0, "sugar in the liquid [g/L]", _SUGAR_HOLDS_BACK),
        (ethanol_pct_vol, 15.0, "alcohol in the liquid [% vol]", _ETHANOL_HOLDS_BACK),
        (salts_g_L, 60.0, "salts in the liquid [g/L]", _SALTS_HOLD_BACK),
    )
    if all(content is None for content, *_ in parts):
        return rectangle(*USUAL_CO2_VS_WATER, SOLUBILITY)
    log10: Numbers = 0.0
    for content, most, name, (slope, u) in parts:
        if content is not None:
            within(content, 0.0, most, name)
            log10 = log10 - ufloat(slope, u, SOLUBILITY) * content
    return exp(log10 * np.log(10.0)) * ufloat(1.0, _RULE_OF_LOGS, SOLUBILITY)


SOLUBILITY: Final = Act("CO2 solubility", "solubility of CO2 in this liquid")
"""What a ± of `co2_vs_water` is called in a budget."""


SWELLING_ML: Final = (37.51, -9.585e-2, 8.740e-4, -5.044e-7)
"""What a mole of dissolved CO2 adds to the volume of water [mL/mol], as a polynomial in °C: Garcia, LBNL-49023
(2001), eq. 3 (read in public simulator code). At 25 °C 35.6; other sources 32 to 38, Weiss 1974 32.3."""


def co2_swelling(temperature_C: Numbers) -> Numbers:
    """What a mole of dissolved CO2 adds to the volume of the liquid.

    Parameters
    ----------
    temperature_C : float or array
        [°C], 0 to 50.

    Returns
    -------
    float or array
        [L/mol].

    Examples
    --------
    >>> co2_swelling(25.0)
    0.0357

    References
    ----------
    As in `SWELLING_ML`.
    """
    within(temperature_C, 0.0, 50.0, "temperature [°C] for the swelling by CO2")
    return evaluate(lambda t_C: np.polynomial.polynomial.polyval(t_C, SWELLING_ML) / 1000.0, temperature_C)


def bicarbonate_factor(pH: Numbers, temperature_C: Numbers) -> Numbers:
    """How much more carbonate the liquid holds in all than CO2 alone.

    Parameters
    ----------
    pH : float or array
        2 to 9.
    temperature_C : float or array
        [°C], 0 to 50.

    Returns
    -------
    float or array
        (CO2 + bicarbonate + carbonate)/CO2, 1 or more; multiply `co2_solubility` by it.

    Notes
    -----
    1 + K1/h + K1 K2/h², h = 10^−pH; pK1 = 3404.71/T + 0.032786 T − 14.8435 and
    pK2 = 2902.39/T + 0.02379 T − 6.4980. For pure water: salts lower pK1 for a pH read
    with an electrode, by 0.09 at an ionic strength of 0.05 and by 0.11 at 0.1 mol/L (Davies's equation), so that
    the true factor − 1 is some 20 to 30 % larger in molasses.

    Examples
    --------
    >>> bicarbonate_factor(6.0, 25.0)
    1.4455

    References
    ----------
    Harned & Davis, J. Am. Chem. Soc. 65 (1943) 2030 (pK1); Harned & Scholes, ibid. 63 (1941) 1706 (pK2);
    coefficients read in public carbonate-system code, not in the papers; they give the handbooks' 6.35
    and 10.33 at 25 °C.
    """
    within(pH, 2.0, 9.0, "pH")
    within(temperature_C, 0.0, 50.0, "temperature [°C] for the carbonic acid constants")
    return evaluate(_carbonate, pH, temperature_C)


def _carbonate(pH: Floats, t_C: Floats) -> Floats:
    T = t_C + ZERO_CELSIUS_K
    first = pH - (3404.71 / T + 0.032786 * T - 14.8435)
    second = pH - (2902.39 / T + 0.02379 * T - 6.4980)
    return np.asarray(1.0 + 10.0**first * (1.0 + 10.0**second))


def sucrose_density(mass_fraction: Numbers, temperature_C: Numbers = 20.0) -> Numbers:
    """Density of a solution of sucrose in water.

    Parameters
    ----------
    mass_fraction : float or array
        Grams of sucrose per gram of solution [g/g], 0 to 0.507 (°Brix/100).
    temperature_C : float or array
        [°C], 15 to 55.

    Returns
    -------
    float or array
        [kg/m3].

    Notes
    -----
    1/ρ = (1 − w)/ρ_water + w/ρ_app, ρ_app = (c0 w + c1) exp(1e-6 (t + c4)²)/(w + c2 + c3 t).

    Examples
    --------
    >>> sucrose_density(0.10, 20.0)
    1038.20

    References
    ----------
    Laliberté, J. Chem. Eng. Data 54 (2009) 1725, doi:10.1021/je8008123.
    """
    within(
        mass_fraction,
        0.0,
        0.507,
        "mass fraction of sucrose [g/g]",
        do="give grams per gram, so 0.10 for 10 °Brix",
    )
    within(temperature_C, 15.0, 55.0, "temperature [°C] for the density of sucrose solutions")
    return evaluate(_sucrose, mass_fraction, temperature_C)


def _sucrose(w: Floats, t: Floats) -> Floats:
    apparent = (532.919899042424 * w + 13692.5881480438) * np.exp(1e-6 * (t + 649.049186827162) ** 2)
    apparent = apparent / (w + 12.6127261369233 + 0.0266415899284128 * t)
    return np.asarray(1.0 / ((1.0 - w) / _water_density(t) + w / apparent))

