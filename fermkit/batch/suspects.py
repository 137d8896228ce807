"""Which mistake was it? Each is another reading of the same readings.

A mistake of some size says what the readings, or the recipe, truly were; the estimate is made anew with that. The
mistakes that make the readings fit are ranked, and those that these readings cannot tell apart stand as one group,
with what would split it. What would not have been seen is said as well.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, chdtri, chndtr

from fermkit.basis.checks import one_of
from fermkit.basis.written import Line, Page, Written
from fermkit.batch.answers import problem_of
from fermkit.batch.estimate import ALARM, Estimate
from fermkit.batch.known import LATENTS, known
from fermkit.batch.least_squares import Floats, Problem, settle
from fermkit.batch.mistakes import NODES, Mistake, mistakes_for
from fermkit.batch.readings import candidates, state_of
from fermkit.matter.usual import FOR_ALARMS

TOLD_WITHIN: Final = 0.2
"""People tell losses of 0 to 20 %, whatever was lost [-]."""
WITHIN: Final = 0.1
"""A mistake this much less likely than the likeliest still stands in its group [-]."""
POWER: Final = 0.8
"""How surely a mistake is to be seen to count as one that would have been seen."""


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

    @property
    def fits_badly(self) -> bool:
        """Whether even the likeliest leave the readings apart."""
        return all(suspect.fits_badly for group in self.groups[:1] for suspect in group.suspects)

    def in_one_sentence(self) -> str:
        """The likeliest group, whether it helps, and what would tell its members apart."""
        if self.first is None:
            return ""
        group = self.first.suspects[:3]
        words = " or ".join(f"{one.mistake.words} ({one.mistake.says} {one.size:.2g})" for one in group)
        badly = "; but even this fits badly" if self.fits_badly else ""
        check = f"What would tell them apart: {self.first.split_by}" if len(group) > 1 else group[0].mistake.check
        return f"Most likely: {words}{badly}. {check[:1].upper()}{check[1:]}."

    def page(self) -> Page:
        """The groups, the likeliest first."""
        if not self.alarm:
            return Page(
                "No mistake shows", (), ("The readings fit together; what could hide in them is listed apart.",)
            )
        note = ("Even the best of these fits badly: it may be two mistakes, or one that is not on the list.",)
        parts = [group.page() for group in self.groups[:3]]
        return Page("What may be wrong", (), note if self.fits_badly else (), parts)


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
    for reading in candidates(one, taken):
        apart = abs(float(reading.shows(one) - reading.shows(other))) / reading.value.std_dev
        if apart > best:
            best, words = apart, reading.words
    return words


@dataclass(frozen=True)
class Limit:
    """The smallest size of a mistake that these readings would show four times in five; None: at no size."""

    mistake: Mistake
    size: float | None

    def line(self) -> Line:
        """The mistake and from which size on it is seen."""
        seen = "at no size" if self.size is None else f"from {self.size:.2g} on"
        return Line(self.mistake.words, seen, "", self.mistake.says)


@dataclass(frozen=True, repr=False)
class Limits(Written):
    """The smallest mistakes that these readings would have shown."""

    limits: tuple[Limit, ...]

    def __getitem__(self, key: str) -> Limit:
        every = {limit.mistake.key: limit for limit in self.limits}
        one_of(key, every, "mistake")
        return every[key]

    def page(self) -> Page:
        """One line for each mistake."""
        how = f"Seen: in {100 * POWER:.0f} of 100 such runs the verdict would be that the readings do not fit together."
        return Page(
            "The smallest mistakes that these readings could have shown", [one.line() for one in self.limits], (how,)
        )


def detection_limits(found: Estimate) -> Limits:
    """For each mistake the smallest that would have raised the alarm with a power of 0.8.

    Notes
    -----
    What a mistake adds to J is chi-square with as many degrees of freedom as readings, not centred: λ = dᵀ S⁻¹ d, with
    d what it does to the readings.
    """
    n = len(found.readings)
    if not n:
        return Limits(())
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
    return Limits(tuple(out))
