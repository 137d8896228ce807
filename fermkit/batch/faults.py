"""The mistakes: each is another reading of the same readings.

A mistake of some size says what the readings, or the recipe, truly were; the estimate is made anew with that. The
mistakes that make the readings fit are ranked, and those that these readings cannot tell apart stand as one group,
with what would split it. Sizes are common practice, no source, except where a line names one.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri, chndtr

from fermkit.basis.written import Line, Page, Written, nominal
from fermkit.batch.estimate import ALARM, Estimate, problem_of
from fermkit.batch.known import LATENTS, known
from fermkit.batch.least_squares import Floats, Problem, settle
from fermkit.batch.readings import candidates, state_of
from fermkit.matter.composition import molar_mass
from fermkit.matter.usual import FOR_ALARMS

Size = Callable[[Floats], Floats]
GAS: Final[tuple[str, ...]] = ("gas", "vessel weight", "pressure", "jar weight")
WEIGHED: Final[tuple[str, ...]] = ("paste", "extract", "debris", "washings", "jar weight", "vessel weight")
SUCROSE_AS_HEXOSE: Final = 2 * molar_mass("hexose") / molar_mass("sucrose")
BY_MASS: Final = 0.792
"""Per cent by mass over per cent by volume of a weak drink: 789.2 kg/m3 (ethanol at 20 °C, OIML R 22) over 997."""

TOLD_WITHIN: Final = 0.2
"""People tell losses of 0 to 20 %, whatever was lost [-]."""
NODES: Final = 33
"""Sizes at which a mistake is tried."""
WITHIN: Final = 0.1
"""A mistake this much less likely than the likeliest still stands in its group [-]."""
POWER: Final = 0.8
"""How surely a mistake is to be seen to count as one that would have been seen."""


@dataclass(frozen=True)
class Mistake:
    """One mistake, by what is true where it was made.

    Attributes
    ----------
    key, words : str
    says : str
        What its size is.
    sizes, shares : arrays of shape (k,)
        Sizes that it may have, and how often each is met.
    reads : mapping of kind to function of the size
        True over read.
    truly : mapping of basic amount to function of the size
        What it truly was.
    recipe : mapping of basic amount to function of the size
        True over told.
    told : tuple of kind
        Readings that were only told and are then worth nothing.
    check : str
        What would show it.
    """

    key: str
    words: str
    says: str
    sizes: Floats
    shares: Floats
    check: str
    reads: Mapping[str, Size] = field(default_factory=dict)
    truly: Mapping[str, Size] = field(default_factory=dict)
    recipe: Mapping[str, Size] = field(default_factory=dict)
    told: tuple[str, ...] = ()


def _even(low: float, high: float) -> tuple[Floats, Floats]:
    return np.linspace(low, high, NODES), np.full(NODES, 1 / NODES)


def _mostly_small(low: float, high: float, spread: float) -> tuple[Floats, Floats]:
    sizes = np.linspace(low, high, NODES)
    shares = np.exp(-0.5 * (sizes / spread) ** 2)
    return sizes, shares / shares.sum()


def _fixed(*sizes: float) -> tuple[Floats, Floats]:
    return np.array(sizes), np.full(len(sizes), 1 / len(sizes))


def _same(size: Floats) -> Floats:
    return size


def _kept(size: Floats) -> Floats:
    return 1.0 - size


def mistakes_for(found: Estimate) -> tuple[Mistake, ...]:
    """The mistakes that could have touched these readings."""
    kinds = {reading.kind for reading in found.readings}
    sugar = nominal(found.recipe.feed.hexose_g)
    gas = {kind: _same for kind in GAS if kind in kinds}
    weighed = {kind: _same for kind in WEIGHED if kind in kinds}
    out = [
        Mistake(
            "left",
            "sugar left over, more than usual",
            "share left",
            *_mostly_small(0.1, 0.9, 0.3),
            "test for sugar, one that sees sucrose and fructose too",
            truly={"left_share": _same},
        ),
        Mistake(
            "moist",
            "moist sugar, or less sugar than written",
            "share that is no sugar",
            *_even(0.01, 0.25),
            "dry a weighed spoon of the sugar",
            recipe={"sugar_fed": _kept},
        ),
        Mistake(
            "sucrose",
            "sucrose taken for glucose, or the other way",
            "true over told",
            *_fixed(SUCROSE_AS_HEXOSE, 1 / SUCROSE_AS_HEXOSE),
            "read the label",
            recipe={"sugar_fed": _same},
        ),
        Mistake(
            "acids",
            "acids far beyond the usual",
            "share of the carbon",
            *_mostly_small(0.04, 0.5, 0.1),
            "measure the acid (pH, titration)",
            truly={"acids_share": _same},
        ),
        Mistake(
            "glycerol",
            "glycerol far beyond the usual",
            "mmol for each gram of yeast",
            *_even(14.0, 60.0),
            "have the glycerol measured",
            truly={"glycerol_per_yeast": _same},
        ),
    ]
    if gas:
        out += [
            Mistake(
                "third",
                "a third of a mole of CO2 taken for each mole of sugar, instead of two",
                "true over read",
                *_fixed(6.0),
                "look at the sum: two of six carbons leave",
                reads=gas,
            ),
            Mistake(
                "gas misread",
                "gas misread (size of a bubble, a scale mark, a unit)",
                "true over read",
                np.exp(np.linspace(-1.0, 1.0, NODES)),
                _bell(np.linspace(-1.0, 1.0, NODES), 0.25),
                "measure a known volume by the same way",
                reads=gas,
            ),
        ]
    if "gas" in kinds:
        out.append(
            Mistake(
                "leak",
                "gas lost by a leak",
                "share lost",
                *_mostly_small(0.03, 0.9, 0.25),
                "weigh the jar as well: a leak hides from no scale",
                truly={"leak_share": _same},
            )
        )
    if kinds & {"ethanol content", "ethanol"}:
        drink: dict[str, Size] = {kind: _same for kind in ("ethanol content", "ethanol") if kind in kinds}
        dilutions = (2.0, 4.0, 5.0, 10.0, 20.0, 50.0, 100.0)
        out += [
            Mistake(
                "by volume",
                "% by volume used as % by mass",
                "true over read",
                *_fixed(BY_MASS),
                "look at the unit of the sum",
                reads=drink,
            ),
            Mistake(
                "by mass",
                "standards made by mass and labelled by volume",
                "true over read",
                *_fixed(1 / BY_MASS),
                "make one standard anew, by volume",
                reads=drink,
            ),
            Mistake(
                "weak standards",
                "standards weaker than their label",
                "true over labelled",
                *_even(0.6, 0.99),
                "make one standard anew",
                reads=drink,
            ),
            Mistake(
                "dilution",
                "a dilution forgotten or counted twice (or “1 + 1” read as undiluted)",
                "true over read",
                *_fixed(*(1 / k for k in dilutions), *dilutions),
                "read a sample at two dilutions",
                reads=drink,
            ),
            Mistake(
                "evaporated",
                "alcohol lost before it was read",
                "share lost",
                *_mostly_small(0.03, 0.6, 0.15),
                "read a sample that was kept closed",
                truly={"stripped_share": _same},
            ),
        ]
    if "paste" in kinds:
        out.append(
            Mistake(
                "wet paste",
                "paste weighed before it was dry",
                "dry share",
                *_even(0.2, 0.97),
                "dry it again until two weights agree",
                reads={"paste": _same},
            )
        )
    if kinds & {"extract", "debris"}:
        parts: dict[str, Size] = {kind: _same for kind in ("extract", "debris") if kind in kinds}
        out.append(
            Mistake(
                "wet parts",
                "extract or debris weighed before it was dry",
                "dry share",
                *_even(0.2, 0.97),
                "dry it again until two weights agree",
                reads=parts,
            )
        )
    if kinds & {"paste", "extract", "debris"}:
        out.append(
            Mistake(
                "more harvest lost",
                "more lost at harvest than told",
                "share kept",
                *_even(0.2, 0.85),
                "weigh what stayed in the jar",
                truly={"harvest_share": _same},
                told=("harvest share",),
            )
        )
        if nominal(found.recipe.feed.non_yeast_solids_g) > 0.02 * sugar:
            out.append(
                Mistake(
                    "solids",
                    "other solids counted as yeast",
                    "share of the feed's solids",
                    *_even(0.2, 1.0),
                    "wash the paste once more",
                    truly={"carried_share": _same},
                )
            )
        if not found.recipe.inoculum_told:
            out.append(
                Mistake(
                    "inoculum",
                    "yeast put in and not told",
                    "grams dry",
                    *_even(0.04 * sugar, 0.3 * sugar),
                    "say how much yeast was put in",
                    truly={"inoculum": _same},
                )
            )
    if "washing loss" in kinds:
        out.append(
            Mistake(
                "washed out",
                "more lost in washing than told",
                "share lost",
                *_even(0.0, 0.9),
                "dry the washings and weigh them",
                truly={"washed_out": _same},
                told=("washing loss",),
            )
        )
    if weighed:
        out.append(
            Mistake(
                "scale",
                "a scale that reads a share too much or too little",
                "true over read",
                *_scale(),
                "weigh a full litre of water",
                reads=weighed,
                recipe={"sugar_fed": _same, "inoculum": _same, "feed_solids": _same},
            )
        )
    return tuple(out)


def _bell(x: Floats, spread: float) -> Floats:
    shares = np.exp(-0.5 * (x / spread) ** 2)
    found: Floats = shares / shares.sum()
    return found


def _scale() -> tuple[Floats, Floats]:
    sizes = np.linspace(0.75, 1.3, NODES)
    return sizes, _bell(sizes - 1.0, 0.1)


@dataclass(frozen=True, repr=False)
class Suspect(Written):
    """One mistake held against the readings.

    Attributes
    ----------
    mistake : Mistake
    evidence : float
        Log of how likely the readings are with it, over its sizes.
    size : float
        Its best size.
    p_left : float
        Chance of a misfit as large as is left once it is undone.
    z : array of shape (L,)
        The basic amounts with it.
    """

    mistake: Mistake
    evidence: float
    size: float
    p_left: float
    z: Floats

    @property
    def fits_badly(self) -> bool:
        """Whether even with it the readings do not fit together."""
        return self.p_left < ALARM

    def page(self) -> Page:
        """The mistake, its size, whether it helps, and what would show it."""
        left = " Even this fits badly." if self.fits_badly else ""
        line = Line(self.mistake.says, f"{self.size:.3g}")
        return Page(self.mistake.words, [line], [f"What would show it: {self.mistake.check}.{left}"])


@dataclass(frozen=True, repr=False)
class Group(Written):
    """Mistakes that these readings cannot tell apart, the likeliest first, and what would split them."""

    suspects: tuple[Suspect, ...]
    split_by: str

    def page(self) -> Page:
        """The group as a page."""
        words = "; or ".join(suspect.mistake.words for suspect in self.suspects)
        split = [f"What would tell them apart: {self.split_by}."] if len(self.suspects) > 1 else []
        return Page(words[:1].upper() + words[1:], (), split, [suspect.page() for suspect in self.suspects])


@dataclass(frozen=True, repr=False)
class Suspects(Written):
    """Which mistakes could have made the readings what they are; empty where nothing alarms."""

    alarm: bool
    groups: tuple[Group, ...]

    @property
    def first(self) -> Group | None:
        """The likeliest group."""
        return self.groups[0] if self.groups else None

    def page(self) -> Page:
        """The groups, the likeliest first."""
        if not self.alarm:
            return Page(
                "No mistake shows", (), ("The readings fit together; what could hide in them is listed apart.",)
            )
        badly = all(suspect.fits_badly for group in self.groups[:1] for suspect in group.suspects)
        note = ("Even the best of these fits badly: it may be two mistakes, or one that is not on the list.",)
        return Page("What may be wrong", (), note if badly else (), [group.page() for group in self.groups[:3]])


def suspects(found: Estimate) -> Suspects:
    """The mistakes that could have made these readings, ranked and grouped.

    Notes
    -----
    Each mistake is tried at many sizes. Evidence: Σ share · |∂true/∂read| · exp(−J/2)/√det S. Mistakes within a tenth
    of the likeliest of a group stand in it: these readings cannot tell them apart.
    """
    if not found.adds_up.alarm:
        return Suspects(False, ())
    groups: list[list[Suspect]] = []
    for suspect in sorted(_tried(found, mistakes_for(found)), key=lambda suspect: -suspect.evidence):
        if groups and suspect.evidence > groups[-1][0].evidence + np.log(WITHIN):
            groups[-1].append(suspect)
        else:
            groups.append([suspect])
    return Suspects(True, tuple(Group(tuple(group), _splitter(found, group)) for group in groups))


@dataclass(frozen=True)
class _Undone:
    """A mistake put right, size by size: what is then known and read, the factors, and how often each size is met."""

    m: Floats
    P: Floats
    y: Floats
    R: Floats
    factor: Floats
    log_share: Floats


def _undone(mistake: Mistake, problem: Problem, kinds: Sequence[str]) -> _Undone:
    """What was truly known and read, had this mistake been made, for each of its sizes."""
    sizes, n = mistake.sizes, len(kinds)
    k = sizes.size
    m, P = np.repeat(problem.m[None], k, 0), np.repeat(problem.P[None], k, 0)
    y, R, factor = np.repeat(problem.y[None], k, 0), np.repeat(problem.R[None], k, 0), np.ones((k, n))
    step = (sizes.max() - sizes.min()) / max(k - 1, 1) / 2 if k == NODES else 0.0
    log_share = np.log(mistake.shares)
    for key, scaled in mistake.recipe.items():
        at = LATENTS.index(key)
        m[:, at] *= scaled(sizes)
    for key, truth in mistake.truly.items():
        at = LATENTS.index(key)
        m[:, at] = truth(sizes)
        P[:, at, :] = P[:, :, at] = 0.0
        P[:, at, at] = step**2 + 1e-12
    for kind, times in mistake.reads.items():
        factor[:, kinds.index(kind)] = times(sizes)
    y, R = y * factor, R * factor[:, :, None] * factor[:, None, :]
    for kind in mistake.told:
        if kind in kinds:  # a told share that is wrong says nothing: any of the usual told ones, whatever was lost
            at = kinds.index(kind)
            y[:, at] = sizes
            log_share = log_share + 0.5 * np.log(2 * np.pi * problem.R[at, at]) - np.log(TOLD_WITHIN)
    return _Undone(m, P, y, R, factor, log_share + np.log(factor).sum(axis=1))


def _tried(found: Estimate, mistakes: Sequence[Mistake]) -> list[Suspect]:
    """Every mistake at every size, all in one fit."""
    problem = problem_of(known(found.recipe, found.state, FOR_ALARMS), found.readings, found.around)
    kinds = [reading.kind for reading in found.readings]
    undone = [_undone(mistake, problem, kinds) for mistake in mistakes]
    m, P, y, R = (np.concatenate([getattr(each, name) for each in undone]) for name in ("m", "P", "y", "R"))
    fit = settle(problem, m, y, R, P)
    log_p = np.concatenate([each.log_share for each in undone]) - 0.5 * (fit.J + np.linalg.slogdet(fit.S)[1])
    out, start = [], 0
    for mistake in mistakes:
        here = log_p[start : start + mistake.sizes.size]
        best = int(np.argmax(here))
        out.append(
            Suspect(
                mistake,
                float(np.logaddexp.reduce(here)),
                float(mistake.sizes[best]),
                float(chdtrc(len(kinds), fit.J[start + best])),
                fit.at[start + best],
            )
        )
        start += mistake.sizes.size
    return out


def _shifts(mistake: Mistake, problem: Problem, kinds: Sequence[str], z: Floats) -> Floats:
    """What each size of a mistake does to the readings of a batch: shape (sizes, n)."""
    true = np.repeat(z[None], mistake.sizes.size, 0)
    for key, scaled in mistake.recipe.items():
        true[:, LATENTS.index(key)] *= scaled(mistake.sizes)
    for key, truth in mistake.truly.items():
        true[:, LATENTS.index(key)] = truth(mistake.sizes)
    shown, meant = problem.shows(true), problem.shows(z[None])
    for kind, times in mistake.reads.items():
        shown[:, kinds.index(kind)] /= times(mistake.sizes)
    for kind in mistake.told:
        if kind in kinds:
            shown[:, kinds.index(kind)] = meant[0, kinds.index(kind)]
    return shown - meant


def _splitter(found: Estimate, group: Sequence[Suspect]) -> str:
    """What would tell the two likeliest of a group apart: a reading not yet taken, or else the acts that show them."""
    if len(group) < 2:
        return group[0].mistake.check
    taken = {reading.kind for reading in found.readings}
    best, words = 2.0, f"{group[0].mistake.check}; {group[1].mistake.check}"
    one, other = (state_of(suspect.z, found.around) for suspect in group[:2])
    for reading in candidates(one):
        apart = abs(float(reading.shows(one) - reading.shows(other))) / reading.value.std_dev
        if reading.kind not in taken and apart > best:
            best, words = apart, reading.words
    return words


@dataclass(frozen=True)
class Limit:
    """The smallest size of a mistake that these readings would show four times in five; None: at no size."""

    mistake: Mistake
    size: float | None

    def __str__(self) -> str:
        seen = "at no size" if self.size is None else f"from {self.size:.3g} on ({self.mistake.says})"
        return f"{self.mistake.words}: seen {seen}"


def detection_limits(found: Estimate) -> tuple[Limit, ...]:
    """For each mistake the smallest that would have raised the alarm with a power of 0.8.

    Notes
    -----
    What a mistake adds to J is chi-square with as many degrees of freedom as readings, not centred: λ = dᵀ S⁻¹ d, with
    d what it does to the readings.
    """
    n = len(found.readings)
    if not n:
        return ()
    problem = problem_of(known(found.recipe, found.state, FOR_ALARMS), found.readings, found.around)
    fit, kinds = found.for_alarms(), [reading.kind for reading in found.readings]
    z = problem.m if found.adds_up.alarm else fit.at[0]
    critical = float(chdtri(n, ALARM))
    needed = brentq(lambda lam: 1.0 - chndtr(critical, n, lam) - POWER, 1e-6, 1e3)
    out = []
    for mistake in mistakes_for(found):
        d = _shifts(mistake, problem, kinds, z)
        lam = np.einsum("kn,kn->k", d, np.linalg.solve(fit.S[0], d.T).T)
        seen = lam >= needed
        size = float(mistake.sizes[seen][np.argmin(lam[seen])]) if seen.any() else None
        out.append(Limit(mistake, size))
    return tuple(out)
