"""What a batch is likely to do, before any reading: the usual quantities, carried through every structure."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from fermkit.basis.checks import between, numbers, positive
from fermkit.kinetics.answers import Answer, Bands, prior
from fermkit.kinetics.course import P, Surroundings, course
from fermkit.kinetics.ensemble import EVENT_SHARE, HORIZON_H, first_hour
from fermkit.kinetics.rates import CARDINAL_C, INDEX, STRUCTURES, warmth

Floats = NDArray[np.float64]

SETS: Final = 16
"""Sets of quantities for each structure: enough for bands of eight in ten, quick enough for a slider."""

USUAL_C: Final = 25.0
"""Temperature at which the usual rates and lags are meant [°C]: common practice, no source."""

EIGHT_IN_TEN: Final = (0.1, 0.9)


@dataclass(frozen=True)
class Ahead:
    """What is likely. Values are those of the usual batch, with every quantity at its median and growth that ends with
    the nitrogen; limits hold eight of ten batches of all structures.

    Attributes
    ----------
    bands : Bands
        Yeast with the inoculum.
    gone : Answer
        When 99 % of what will be used is used [h].
    alcohol, yeast, co2 : Answer
        At the end [g/L, g/L of new dry yeast, mol].
    stops_short : float
        Share of usual batches that leave more than 5 % of the sugar [-].
    """

    bands: Bands
    gone: Answer
    alcohol: Answer
    yeast: Answer
    co2: Answer
    stops_short: float


def ahead(
    time_h: ArrayLike,
    *,
    sugar_g_L: float,
    inoculum_g_L: float,
    temperature_C: float,
    nitrogen_yeast_g_L: float,
    liquid_L: float = 1.0,
    store_mol: float = 0.0,
    gas_space_mol: float = 0.0,
) -> Ahead:
    """What a batch with these amounts is likely to do.

    Parameters
    ----------
    time_h : array-like of shape (n,)
        Hours at which the bands are wanted, the first 0.
    sugar_g_L : float
        As hexose.
    inoculum_g_L : float
        Dry yeast.
    temperature_C : float
        It moves growth rate and lag by the cardinal temperatures, from what is usual at 25 °C.
    nitrogen_yeast_g_L : float
        New dry yeast that the usable nitrogen allows.
    liquid_L, store_mol, gas_space_mol : float
        As in `fermkit.kinetics.answers.fit_batch`.

    Returns
    -------
    Ahead

    Notes
    -----
    Sixteen sets of the usual quantities for each structure, drawn by a Sobol sequence that is always the same: a
    slider moves the batch, not the draw.

    Examples
    --------
    >>> found = ahead([0, 24, 48], sugar_g_L=100, inoculum_g_L=3, temperature_C=25, nitrogen_yeast_g_L=8)
    >>> 10 < found.gone.value < 60
    True
    """
    hours = numbers(time_h, "time [h]")
    positive(inoculum_g_L, "inoculum [g/L]", do="pitch some yeast: without it nothing ferments")
    positive(sugar_g_L, "sugar [g/L]", do="add some sugar")
    positive(nitrogen_yeast_g_L, "yeast that the nitrogen allows [g/L]", do="allow some, however little")
    between(temperature_C, CARDINAL_C[0] + 0.5, CARDINAL_C[2] - 0.5, "temperature [°C]")
    usual = prior({})
    from scipy.stats import qmc  # a third of a second, so only where it is used

    z = ndtri(qmc.Sobol(P, seed=1).random(SETS))
    theta = usual.mean + usual.sd * np.vstack([np.zeros(P), z])  # the usual one first
    pace = float(np.log(warmth(temperature_C) / warmth(USUAL_C)))
    for name, value in (("sugar", sugar_g_L), ("inoculum", inoculum_g_L), ("nitrogen", nitrogen_yeast_g_L)):
        theta[:, INDEX[name]] = np.log(value)
    theta[:, INDEX["growth rate"]] += pace
    theta[:, INDEX["lag"]] -= pace
    around = Surroundings(liquid_L, store_mol, gas_space_mol)
    grid = np.union1d(np.linspace(0.0, float(hours[-1]), 121), hours)
    grid = np.union1d(grid, np.geomspace(max(float(hours[-1]), 1.0), HORIZON_H, 40))
    batches = [course(one, theta, grid, around) for one in STRUCTURES]
    used, yeast, ethanol, made, gas = (
        np.concatenate([getattr(one, name) for one in batches])
        for name in ("sugar_used", "yeast", "ethanol", "made", "released")
    )
    at = np.searchsorted(grid, hours)

    def band(value: Floats) -> tuple[Floats, Floats, Floats]:
        low, high = (np.quantile(value[:, at], q, axis=0) for q in EIGHT_IN_TEN)
        return value[0, at], low, high

    def answer(value: Floats, unit: str) -> Answer:
        low, high = (float(np.quantile(value, q)) for q in EIGHT_IN_TEN)
        return Answer(float(value[0]), low, high, unit)

    gone = first_hour(grid, used, EVENT_SHARE * used[:, -1])
    bands = Bands(hours, band(sugar_g_L - used), band(ethanol), band(yeast), band(made), band(gas))
    return Ahead(
        bands, answer(gone, "h"), answer(ethanol[:, -1], "g/L"), answer(yeast[:, -1] - inoculum_g_L, "g/L"),
        answer(made[:, -1], "mol"), float(np.mean(used[:, -1] < 0.95 * sugar_g_L)),
    )  # fmt: skip
