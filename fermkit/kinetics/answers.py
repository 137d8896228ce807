"""What a person gets from a batch fitted in time: hours, rates, amounts, a forecast, and what to read next."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fermkit.basis.checks import not_negative, numbers, one_of, positive, rising, same_length
from fermkit.basis.errors import FitError, InputError
from fermkit.basis.written import Line, Page, Written, interval, rounded
from fermkit.kinetics.course import Surroundings
from fermkit.kinetics.ensemble import (
    HORIZON_H,
    Draws,
    Fitted,
    draw,
    events,
    first_hour,
    fit_structure,
    quantile,
    weights,
)
from fermkit.kinetics.feeding import course_of
from fermkit.kinetics.fitting import MISFIT_FLOOR, Prior, Problem
from fermkit.kinetics.rates import INDEX, NAMES, QUANTITIES, STRUCTURES, Structure
from fermkit.kinetics.series import Series, series

Floats = NDArray[np.float64]

KEPT: Final = 400
"""Draws that a result keeps, all of one weight."""

TOLD: Final = 0.7
"""A quantity is told where the readings have narrowed what was known of it to less than this share."""

STARTS_DISAGREE: Final = 3.0
"""Chi² between the best start and the others beyond which it is said that they disagree."""

ANSWERS: Final = {
    "lag_h": ("end of the lag, of the yeast", "h", "the tangent of ln yeast at its steepest meets the start"),
    "growth_per_h": ("fastest specific growth rate", "1/h", "of the yeast, not of the gas"),
    "exponential_end_h": ("end of the exponential phase", "h", "the specific growth rate has fallen to half"),
    "sugar_gone_h": ("sugar gone", "h", "99 % of what will be used is used"),
    "yeast_done_h": ("yeast stationary", "h", "99 % of the growth is done"),
    "gas_lag_h": ("end of the lag, of the gas", "h", "the tangent of the gas at its steepest meets zero"),
    "gas_done_h": ("gas nearly all out", "h", "95 % of the gas has left"),
    "sugar_left": ("sugar left, as hexose", "g/L", "at the last reading"),
    "ethanol": ("alcohol", "g/L", "at the last reading"),
    "yeast": ("yeast, dry", "g/L", "at the last reading, with the inoculum"),
    "co2": ("CO2 made", "mol", "at the last reading"),
    "sugar_left_end": ("sugar left, as hexose", "g/L", "at the end"),
    "ethanol_end": ("alcohol", "g/L", "at the end"),
    "yeast_end": ("yeast, dry", "g/L", "at the end, with the inoculum"),
    "co2_end": ("CO2 made", "mol", "at the end"),
}
"""What is answered: words, unit, definition. The end is two weeks after pitching."""

NOT_ONCE_STOPPED: Final = ("sugar_gone_h", "gas_done_h", "ethanol_end", "co2_end", "yeast_end", "sugar_left_end")
"""What a batch that stops short would change: forecast without those that do, with their chance beside it."""

CHANCE_SAID: Final = 0.03
"""A chance of stopping short below this is not worth a line [-]."""

SURE: Final = 0.9
"""From here on it is taken to stop short, and the end that is given is that one [-]."""


@dataclass(frozen=True, slots=True)
class Answer:
    """A best value (median) and its 95 % interval."""

    value: float
    low: float
    high: float
    unit: str

    @property
    def shown(self) -> str:
        """The value, rounded by its interval."""
        spread = (self.high - self.low) / 4
        return rounded(self.value, spread)[0] if np.isfinite(spread) and spread > 0 else rounded(self.value)[0]

    def __str__(self) -> str:
        return f"{self.shown} {self.unit} ({interval(self.low, self.high).removesuffix(' (95 %)')}, 95 %)"


@dataclass(frozen=True, repr=False)
class Bands(Written):
    """The batch at some hours: each quantity as (value, low, high), arrays of shape (n,)."""

    time_h: Floats
    sugar: tuple[Floats, Floats, Floats]
    alcohol: tuple[Floats, Floats, Floats]
    yeast: tuple[Floats, Floats, Floats]
    co2: tuple[Floats, Floats, Floats]
    gas: tuple[Floats, Floats, Floats]

    def page(self) -> Page:
        """One line for each quantity and hour."""
        units = {"sugar": "g/L", "alcohol": "g/L", "yeast": "g/L", "co2": "mol", "gas": "mol"}
        lines = [
            Line(f"{name} at {hour:g} h", f"{mid[i]:.3g}", unit, "", (float(low[i]), float(high[i])))
            for name, unit in units.items()
            for mid, low, high in [getattr(self, name)]
            for i, hour in enumerate(self.time_h)
        ]
        return Page("The batch in time", lines)


@dataclass(frozen=True, repr=False)
class BatchFit(Written):
    """A batch in time, as all its readings together tell it.

    Attributes
    ----------
    answers : mapping of Answer
        By the names of `ANSWERS`: ``fit.answers["sugar_gone_h"].value``.
    quantities : mapping of Answer
        Every quantity of the model; those not in `told` are no more than what was known before.
    told : tuple of str
        Quantities whose doubt the readings have narrowed.
    structures : mapping
        Weight of each structure [-].
    stops_short : float
        Chance that more than 5 % of the sugar is left [-].
    last_h : float
        The last reading [h].
    misfit : float
        Weighted size of the model's own misfit, over the gas so far [-].
    remarks : tuple of str
    """

    answers: Mapping[str, Answer]
    quantities: Mapping[str, Answer]
    told: tuple[str, ...]
    structures: Mapping[str, float]
    stops_short: float
    last_h: float
    misfit: float
    remarks: tuple[str, ...]
    _theta: Floats
    _of: NDArray[np.intp]
    _events: Mapping[str, Floats]
    _around: Surroundings
    _structures: tuple[Structure, ...]

    def page(self) -> Page:
        """The answers, the quantities that were told, the structures."""
        ahead = self.answers["gas_done_h"].value > self.last_h
        lines = []
        for name, one in self.answers.items():
            words, unit, how = ANSWERS[name]
            if name in NOT_ONCE_STOPPED and CHANCE_SAID <= self.stops_short < SURE:
                how += ", if nothing stops it"
            lines.append(Line(words, one.shown, unit, how, (one.low, one.high)))
        told = [
            Line(QUANTITIES[name].name, one.shown, one.unit, "", (one.low, one.high))
            if name in self.told
            else Line(QUANTITIES[name].name, "not told by these readings")
            for name, one in self.quantities.items()
        ]
        ways = [Line(name, f"{100 * share:.0f}", "%") for name, share in self.structures.items()]
        heading = "The batch in time" + (", still running" if ahead else "")
        parts = [Page("What the readings tell of the yeast", told), Page("Weights of the structures", ways)]
        return Page(heading, lines, self.remarks, parts)

    def _courses(self, hours: Floats) -> dict[str, Floats]:
        """All draws at these hours, stepped through the hours between."""
        last = float(hours.max())
        grid = np.union1d(np.linspace(0.0, last, max(3, min(600, int(last / 0.15) + 2))), hours)
        at = np.searchsorted(grid, hours)
        out = {name: np.empty((len(self._theta), hours.size)) for name in ("sugar", "alcohol", "yeast", "co2", "gas")}
        for k, structure in enumerate(self._structures):
            rows = self._of == k
            if rows.any():
                theta = self._theta[rows]
                c = course_of(structure, theta, grid, self._around)
                out["sugar"][rows] = np.exp(theta[:, :1]) - c.sugar_used[:, at]
                for name, value in (("alcohol", c.ethanol), ("yeast", c.yeast), ("co2", c.made), ("gas", c.released)):
                    out[name][rows] = value[:, at]
        return out

    def at(self, time_h: ArrayLike) -> Bands:
        """Sugar [g/L], alcohol [g/L], yeast [g/L], CO2 made and gas released [mol] at any hour, with 95 % bands.

        Parameters
        ----------
        time_h : array-like of shape (n,)
            Since the yeast was pitched [h]; hours to come are forecasts.
        """
        hours = np.atleast_1d(numbers(time_h, "time [h]"))
        not_negative(float(hours.min()), "time [h]", do="give hours since the yeast was pitched")
        drawn = self._courses(np.unique(hours))
        back = np.searchsorted(np.unique(hours), hours)
        bands = {
            name: tuple(np.quantile(value, q, axis=0)[back] for q in (0.5, 0.025, 0.975))
            for name, value in drawn.items()
        }
        return Bands(hours, **bands)  # type: ignore[arg-type]

    def hour_of_co2(self, co2_mol: float, u_mol: float = 0.0) -> tuple[Answer, float]:
        """When so much CO2 has been made, as a closed vessel's rating may ask, and the chance that it never is.

        Parameters
        ----------
        co2_mol : float
            CO2 made since pitching [mol]: what a vessel takes up to its rating.
        u_mol : float
            Its standard uncertainty [mol].

        Returns
        -------
        (Answer, float)
            The hour with its interval (open where it may never come), and the chance that it never does [-].
        """
        positive(co2_mol, "co2_mol", do="give moles of CO2")
        hours = np.concatenate([[0.0], np.geomspace(0.05, HORIZON_H, 400)])
        made = self._courses(hours)["co2"]
        not_negative(u_mol, "u_mol")
        aim = co2_mol + u_mol * np.random.default_rng(KEPT).normal(size=len(made))
        reached = made[:, -1] >= aim
        hour = first_hour(hours, made, aim)
        low, mid, high = (float(np.quantile(hour, q, method="nearest")) for q in (0.025, 0.5, 0.975))
        return Answer(mid, low, high, "h"), float(np.mean(~reached))

    def next_reading(self, of: str = "sugar_gone_h", *, time_h: float | None = None) -> Written:
        """Which single reading would narrow one answer most.

        Parameters
        ----------
        of : str
            One of `ANSWERS`.
        time_h : float, optional
            When it would be taken [h]; without it, at the last reading and half as long again.

        Returns
        -------
        Written
            Kinds of reading by what they leave of the answer's doubt, each with the ± that a kitchen reaches.

        Notes
        -----
        Among the draws, the answer and what an instrument would show go together with a correlation ρ. A reading of
        standard uncertainty u leaves √(1 − ρ² v/(v + u²)) of the doubt, v the spread of what it would show.
        """
        one_of(of, ANSWERS, "answer")
        when = [self.last_h, 1.5 * self.last_h] if time_h is None else [float(time_h)]
        target = self._events[of]
        drawn = self._courses(np.array(when))
        found = []
        for i, hour in enumerate(when):
            for kind, u in (("sugar", 2.0), ("alcohol", 2.0), ("yeast", 0.1), ("gas", 0.02)):
                shown = drawn[kind][:, i]
                error = u * float(np.median(shown)) if u < 1 else u
                spread = float(np.var(shown))
                if spread > 0 and np.std(target) > 0:
                    rho = float(np.corrcoef(shown, target)[0, 1])
                    left = np.sqrt(max(0.0, 1 - rho**2 * spread / (spread + error**2)))
                    found.append((left, kind, hour, error))
        found.sort()
        units = {"sugar": "g/L", "alcohol": "g/L", "yeast": "g/L", "gas": "mol"}
        lines = [
            Line(f"{kind} at {hour:.3g} h", f"{100 * left:.0f}", "% of the doubt stays", f"± {u:.2g} {units[kind]}")
            for left, kind, hour, u in found
        ]
        return NextReading(of, tuple(lines))


@dataclass(frozen=True, repr=False)
class NextReading(Written):
    """Readings that could be taken, the most telling first."""

    of: str
    lines: tuple[Line, ...]

    def page(self) -> Page:
        """One line a reading."""
        return Page(f"What would narrow most: {ANSWERS[self.of][0]}", self.lines)


def prior(known: Mapping[str, tuple[float, float]]) -> Prior:
    """What is known before any reading, as logarithms: the usual, and in its place what was stated.

    Parameters
    ----------
    known : mapping
        (best value, standard uncertainty), in the unit of `QUANTITIES`.
    """
    mean = np.log([QUANTITIES[name].usual[0] for name in NAMES])
    sd = np.array([QUANTITIES[name].usual[1] for name in NAMES])
    for name, (value, u) in known.items():
        one_of(name, NAMES, "known quantity")
        positive(value, name)
        positive(u, f"± of {name}", do="give the standard uncertainty")
        # a lognormal law of this relative spread
        sd[INDEX[name]] = np.sqrt(np.log1p((u / value) ** 2))
        mean[INDEX[name]] = np.log(value)
    return Prior(mean, sd)


def fit_batch(
    readings: Sequence[Series],
    known: Mapping[str, tuple[float, float]],
    *,
    liquid_L: float,
    store_mol: float = 0.0,
    gas_space_mol: float = 0.0,
    temperature: tuple[ArrayLike, ArrayLike] | None = None,
    feed: tuple[ArrayLike, ArrayLike] | None = None,
    oxygen_mmol_per_L_h: float = 0.0,
    structures: Sequence[Structure] = STRUCTURES,
    full_posterior: bool = False,
    seed: int = 1,
) -> BatchFit:
    """Fit a batch in time to all its readings at once.

    Parameters
    ----------
    readings : sequence of Series
        Made with `series`: gas, weights, alcohol, density, sugar, cells, yeast, in any number.
    known : mapping
        What is known before: (best value, standard uncertainty) by name; ``"sugar"`` and ``"inoculum"`` [g/L] are
        needed, ``"nitrogen"`` (new dry yeast that it allows [g/L]) helps; the rest has usual values.
    liquid_L : float
    store_mol : float
        CO2 that the liquid holds in balance with CO2 alone at the barometer's pressure [mol].
    gas_space_mol : float
        Gas above the liquid [mol].
    temperature : (array-like, array-like), optional
        Hours and °C of a log; without it the temperature stays as it is.
    feed : (array-like, array-like), optional
        Hours from which, and g/h at which, more sugar comes in, as hexose. With it, or with air, a fit takes many
        seconds instead of one.
    oxygen_mmol_per_L_h : float
        The most oxygen that aeration brings [mmol/(L h)]; 0: an airlock, or closed.
    structures : sequence of Structure
    full_posterior : bool
        Walk through each posterior with the library emcee (``pip install emcee``): half a minute instead of a second.
    seed : int
        Of the starts and the draws; the same seed gives the same answers.

    Returns
    -------
    BatchFit

    Raises
    ------
    InputError
        For readings that cannot be used, or where sugar or inoculum is not known.
    FitError
        For fewer than three readings.

    Notes
    -----
    Each structure is fitted by Levenberg–Marquardt from several starts, with the priors as rows; it gets a weight by
    its evidence, but never less than 10 %; its posterior is drawn from by fits with shaken readings and Metropolis
    steps. The gas carries a misfit of the model, a smooth random curve that is never less than 0.25 % of the gas, which
    the residuals may enlarge. What the gas does not show carries one of its own: the yeast grown (where none was read)
    with the carbon it takes, the pace of what is still to come, products that the model does not know. These sizes were
    fixed before the batches were simulated that the coverage is told from: tests/benchmarks/README.md says what held.

    Examples
    --------
    >>> hours = np.arange(0.0, 31.0, 2.0)
    >>> gas = [0, .01, .04, .11, .22, .38, .58, .81, 1.05, 1.28, 1.47, 1.61, 1.69, 1.72, 1.73, 1.73]
    >>> fit = fit_batch([series("gas released", hours, gas, 0.01)], {"sugar": (90, 2), "inoculum": (2, 0.2)},
    ...                 liquid_L=2.0, store_mol=0.07, gas_space_mol=0.04)
    >>> gone = fit.answers["sugar_gone_h"]
    >>> 22 < gone.value < 26, gone.unit
    (True, 'h')

    References
    ----------
    `fermkit.kinetics.rates.uptake` for the rates. Kennedy & O'Hagan, J. R. Stat. Soc. B 63 (2001) 425 (misfit of a
    model as a random function). Kass & Raftery, J. Am. Stat. Assoc. 90 (1995) 773 (evidence by Laplace's method).
    """
    for name in ("sugar", "inoculum"):
        if name not in known:
            raise InputError(
                f"known says nothing of the {name}",
                f"{QUANTITIES[name].name} [g/L] with its ±",
                "give it, however wide",
            )
    positive(liquid_L, "liquid_L", do="give litres")
    not_negative(store_mol, "store_mol")
    not_negative(gas_space_mol, "gas_space_mol")
    read = sum(one.time_h.size - one.counted for one in readings)
    if read < 3:
        raise FitError(f"{read} readings", "at least three", "take more readings, or ask the plan")
    not_negative(oxygen_mmol_per_L_h, "oxygen_mmol_per_L_h")
    around = Surroundings(
        float(liquid_L), float(store_mol), float(gas_space_mol),
        _table(temperature, "temperature [°C]"), _table(feed, "feed [g/h]"), oxygen_mmol_per_L_h / 1000,
    )  # fmt: skip
    problem = Problem(readings, prior(known), around)
    fits = [fit_structure(problem, one, seed) for one in structures]
    draws = draw(problem, fits, seed, full=full_posterior)
    return _answered(problem, fits, draws, seed)


def _table(pairs: tuple[ArrayLike, ArrayLike] | None, name: str) -> tuple[Floats, Floats] | None:
    if pairs is None:
        return None
    when, value = numbers(pairs[0], f"time of the {name} [h]"), numbers(pairs[1], name)
    same_length(time=list(when), value=list(value))
    rising(when, f"time of the {name} [h]")
    return when, value


def _answered(problem: Problem, fits: Sequence[Fitted], draws: Draws, seed: int) -> BatchFit:
    drawn = events(problem, draws, fits)
    stopped = drawn.pop("stopped")
    share = draws.weight
    goes_on = share * ~stopped
    chance = float(1 - goes_on.sum() / share.sum())
    answers = {}
    for name, (_, unit, _) in ANSWERS.items():
        weight = goes_on if name in NOT_ONCE_STOPPED and CHANCE_SAID <= chance < SURE else share
        low, mid, high = quantile(drawn[name], weight, [0.025, 0.5, 0.975])
        answers[name] = Answer(float(mid), float(low), float(high), unit)
    theta = problem.theta(draws.z)
    quantities, told = {}, []
    for i, name in enumerate(NAMES):
        low, mid, high = np.exp(quantile(theta[:, i], share, [0.025, 0.5, 0.975]))
        quantities[name] = Answer(float(mid), float(low), float(high), QUANTITIES[name].unit)
        mean = np.average(theta[:, i], weights=share)
        sd = np.sqrt(np.average((theta[:, i] - mean) ** 2, weights=share))
        if sd < TOLD * problem.prior.sd[i]:
            told.append(name)
    rng = np.random.default_rng(seed)
    kept = np.searchsorted(np.cumsum(share) / share.sum(), (np.arange(KEPT) + rng.uniform()) / KEPT)
    kept = np.minimum(kept, len(share) - 1)
    w = weights(fits)
    misfit = MISFIT_FLOOR * float(sum(a * one.misfit for a, one in zip(w, fits)))
    return BatchFit(
        answers, quantities, tuple(told), {one.structure.name: float(a) for one, a in zip(fits, w)}, chance,
        problem.last_h, misfit, tuple(_remarks(fits, chance, misfit, answers, problem)), theta[kept], draws.of[kept],
        {name: drawn[name][kept] for name in ANSWERS}, problem.around, tuple(one.structure for one in fits),
    )  # fmt: skip


def _remarks(
    fits: Sequence[Fitted], chance: float, misfit: float, answers: Mapping[str, Answer], problem: Problem
) -> list[str]:
    said = [
        "The intervals hold the errors of the readings, what was known before, and the doubt about the structure. On "
        "invented batches of other kinds those of amounts held as stated; those of hours, and forecasts, less often."
    ]
    if chance >= CHANCE_SAID:
        said.append(
            f"Something may stop it: the chance that more than 5 % of the sugar is left is {100 * chance:.0f} %. The "
            "end is given for the case that nothing stops it."
        )
    apart = max(float(np.ptp(one.ends.chi2)) for one in fits)
    if apart > STARTS_DISAGREE:
        said.append(
            f"Starts of the fit ended apart (chi² by up to {apart:.0f}); the best one of each structure is used."
        )
    if misfit > 2 * MISFIT_FLOOR:
        said.append(
            f"No structure follows the gas within its errors: {100 * misfit:.1f} % of the gas is allowed for as misfit."
        )
    if answers["gas_done_h"].value > problem.last_h:
        said.append("The run is not at its end: what lies beyond the last reading is a forecast.")
    return said


__all__ = ["ANSWERS", "Answer", "Bands", "BatchFit", "fit_batch", "prior", "series"]
