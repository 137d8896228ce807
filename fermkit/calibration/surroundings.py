"""What surrounds a sensor: the temperature of what it smells."""

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from uncertainties import ufloat, umath

from fermkit.basis.budget import Act
from fermkit.basis.checks import Floats, between, numbers
from fermkit.basis.constants import ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.written import Number, nominal, uncertainty

TEMPERATURE: Final = Act("sample temperature", "temperature of the sample against the standards")

HEAT_OF_ESCAPE_K: Final = ufloat(6150.0, 260.0, tag=Act("vapour rise", "how the vapour rises with temperature"))
"""−d ln Hcp / d(1/T) of ethanol over dilute water solutions [K]: measured and reviewed values run from 5700 to 6600
(Sander 2015, Atmos. Chem. Phys. 15, 4399; read), here their middle and the half-width over √3. Near 20 °C this is
6.8 ± 0.3 % per kelvin for the vapour's concentration. From other sources: 6.6 % (Dubowski 1979, J. Anal. Toxicol. 3,
177: exp(0.06583 t); read), 7.1 % at 20 °C (Wells 1981, Can. Soc. Forensic Sci. J. 14, 1; read). Pure ethanol
gives less, 5.7 to 6.0 %, and is not what stands in the jar."""

BAND_K: Final = 0.5
"""How far from the standards' temperature a sample may be without a word [K]. Common practice,
no source."""

FURTHEST_K: Final = 15.0
"""How far a temperature is corrected at most [K]. Common practice, no source."""


def vapour_ratio(temperature_C: Number, reference_C: float) -> Any:
    """How much stronger the vapour above a sample is than above the same sample at the reference temperature.

    Two kelvin between sample and standards are an error of 13 % for a sensor above the liquid.

    Parameters
    ----------
    temperature_C : float or UFloat
        Of the sample [°C].
    reference_C : float
        Of the standards [°C].

    Returns
    -------
    UFloat
        Ratio of the vapour concentrations [-]; exactly 1 where the temperatures are alike.

    Notes
    -----
    ratio = (T_ref / T) · exp(H · (1/T_ref − 1/T)), with T in kelvin and H = `HEAT_OF_ESCAPE_K`; the factor
    T_ref/T turns the partial pressure of Henry's law into a concentration. For dilute solutions, up to
    about 15 % by volume.

    Examples
    --------
    >>> print(vapour_ratio(22.0, 20.0))
    1.146+/-0.007

    References
    ----------
    Sander 2015, Atmos. Chem. Phys. 15, 4399, equation 19 and the entry for ethanol, doi:10.5194/acp-15-4399-2015.
    """
    here, there = temperature_C + ZERO_CELSIUS_K, reference_C + ZERO_CELSIUS_K
    if nominal(here) == there and uncertainty(here) == 0:
        return 1.0
    return (there / here) * umath.exp(HEAT_OF_ESCAPE_K * (1 / there - 1 / here))


def apparent_content(content: Number, temperature_C: float, reference_C: float) -> Any:
    """The content that would smell as strong at the reference temperature."""
    return content if nominal(content) == 0 else content * vapour_ratio(temperature_C, reference_C)


def at_one_temperature(temperature_C: ArrayLike, count: int) -> tuple[float, Floats]:
    """Mean temperature of the standards and that of each; refused where they lie too far apart."""
    values = numbers(np.atleast_1d(np.asarray(temperature_C, dtype=object)), "temperature of the standards [°C]")
    if values.size not in (1, count):
        raise InputError(
            f"{values.size} temperatures for {count} standards",
            "one for all, or one for each",
            "check the rows of the table",
        )
    values = np.broadcast_to(values, (count,)).copy()
    for end in (values.min(), values.max()):
        between(float(end), -5.0, 60.0, "temperature of the standards [°C]")
    mean = float(values.mean())
    far = float(np.abs(values - mean).max())
    if far > FURTHEST_K:
        raise InputError(
            f"one standard is {far:.1f} K from the standards' mean of {mean:.1f} °C",
            f"standards within {FURTHEST_K:g} K of one another's mean",
            "bring all standards to one temperature and read them again",
        )
    return mean, values


def temperature_factor(temperature_C: Number, reference_C: float | None) -> Any:
    """What the content read has to be multiplied by for the sample's own temperature."""
    if temperature_C is None:
        return 1.0
    between(nominal(temperature_C), -5.0, 60.0, "temperature of the sample [°C]")
    if reference_C is None:
        raise InputError(
            f"the sample was at {nominal(temperature_C):g} °C and nobody knows at what the standards were",
            "the standards' temperature too",
            "pass temperature_C to fit_calibration",
        )
    apart = nominal(temperature_C) - reference_C
    if abs(apart) > FURTHEST_K:
        raise InputError(
            f"the sample is {apart:+.1f} K from the standards, at {nominal(temperature_C):g} °C",
            f"samples within {FURTHEST_K:g} K of the standards",
            "bring sample and standards to one temperature and read again",
        )
    return 1 / vapour_ratio(temperature_C, reference_C)


def temperature_said(temperature_C: Number, reference_C: float | None) -> list[str]:
    """What has to be said about the temperature of a sample."""
    if reference_C is None:
        return []
    if temperature_C is None:
        return ["the sample's temperature was not given: each kelvin off the standards is 7 % in a vapour reading"]
    apart = nominal(temperature_C) - reference_C
    if abs(apart) <= BAND_K:
        return []
    return [
        f"the sample was {apart:+.1f} K from the standards; its vapour was taken to be "
        f"{nominal(vapour_ratio(temperature_C, reference_C)):.3f} times as strong, and the content corrected for it"
    ]


def recovery_said(signals: Floats, baseline: ArrayLike | None, baseline_after: ArrayLike | None) -> list[str]:
    """Whether the sensor came back to its baseline after the reading.

    More than a twentieth of the signal left over is said. Common practice, no source.
    """
    if baseline is None or baseline_after is None:
        return []
    before = float(np.mean(numbers(np.atleast_1d(np.asarray(baseline, dtype=object)), "baseline")))
    after = float(np.mean(numbers(np.atleast_1d(np.asarray(baseline_after, dtype=object)), "baseline after")))
    left = (after - before) / float(np.mean(signals))
    if abs(left) <= 0.05:
        return []
    return [
        f"the sensor did not come back to its baseline ({before:g} before, {after:g} after, {left:.0%} of the "
        "signal): wait longer between readings, or read the samples in rising order"
    ]
