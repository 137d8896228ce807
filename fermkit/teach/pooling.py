"""What a class found together: the groups' own answers beside the kit's evaluation of the same readings."""

import logging
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from fermkit.basis.checks import Floats
from fermkit.basis.errors import FermkitError, InputError
from fermkit.basis.groups import Precision, precision
from fermkit.basis.statistics import robust_mean
from fermkit.basis.written import Line, Page, Written, nominal, plus_minus
from fermkit.batch.estimate import Mark
from fermkit.run.analysis import Analysis
from fermkit.run.records import read_run
from fermkit.show.plots import COLOURS, DASHES, MARKS, figure, house_style, svg
from fermkit.teach.answers import MENDED, SHARED, Answers, Given
from fermkit.teach.class_data import HANDED_IN, read_key, teachers_folder, with_progress
from fermkit.teach.class_key import CO2, HEXOSE, carbon_found, class_results, right_answers
from fermkit.teach.group_folder import RUN, group_folders, handed_in, open_group
from fermkit.teach.papers import whole_page
from fermkit.teach.real_jars import JARS, Jar, analysed, read_jars

RESULTS: Final = {"CO2 yield": "mol/mol", "alcohol yield": "g/g", "yeast yield": "g/g", "carbon found": "%"}
"""What is pooled, and its unit: each for the sugar used, since the groups' batches differ in size."""

FEWEST: Final = 3
"""Groups that a mean and a spread need."""

QUESTIONABLE, UNSATISFACTORY = 2.0, 3.0
"""z-scores from which a result is called questionable and unsatisfactory (ISO 13528:2015, 9.4)."""

POSSIBLE: Final = {"CO2 yield": 6.5, "alcohol yield": 1.0, "yeast yield": 2.0, "carbon found": 400.0, "shared": 100.0}
"""The most that a result can be; beyond it something was mistyped, and it is left out, and said."""


@dataclass(frozen=True, repr=False)
class GroupFound(Written):
    """What one group found.

    Attributes
    ----------
    group : str
    time_h, co2_mol : numpy.ndarray or None
        Its gas curve.
    given, by_kit : mapping of float
        Names of `RESULTS`: by the group's own answers, mended where it mended them, and by the kit from its readings.
    shared, shared_by_kit : tuple of float
        The sample that every group was given [% vol].
    notes : tuple of str
        What is missing or was left out, and why.
    """

    group: str
    time_h: Floats | None
    co2_mol: Floats | None
    given: Mapping[str, float]
    by_kit: Mapping[str, float]
    shared: tuple[float, ...]
    shared_by_kit: tuple[float, ...]
    notes: tuple[str, ...]

    def page(self) -> Page:
        """The group's results beside the kit's."""
        lines = [
            Line(name, _or_dash(self.given.get(name)), RESULTS[name], f"by the kit {_or_dash(self.by_kit.get(name))}")
            for name in RESULTS
        ]
        lines += [Line("shared sample", f"{value:.3g}", "% vol") for value in self.shared]
        return Page(f"Group {self.group}", lines, self.notes)


@dataclass(frozen=True, repr=False)
class Together(Written):
    """One quantity over all groups.

    Attributes
    ----------
    name, unit : str
    values : mapping
        Group → its result.
    mean : ufloat
        Robust mean (Algorithm A).
    spread : float
        Robust standard deviation of the groups.
    truth : float or None
        The mean of the true values, of an invented class.
    """

    name: str
    unit: str
    values: Mapping[str, float]
    mean: Any
    spread: float
    truth: float | None

    @property
    def z(self) -> dict[str, float]:
        """Each group's distance from the mean, in spreads."""
        return {
            name: (value - nominal(self.mean)) / self.spread if self.spread > 0 else 0.0
            for name, value in self.values.items()
        }

    @property
    def far(self) -> list[str]:
        """Groups whose result is questionable or worse, in words."""
        words = {name: "unsatisfactory" if abs(z) >= UNSATISFACTORY else "questionable" for name, z in self.z.items()}
        return [f"group {n}: {words[n]} (z = {z:+.1f})" for n, z in self.z.items() if abs(z) >= QUESTIONABLE]

    def page(self) -> Page:
        """Mean, spread and who stands apart."""
        lines = [Line(self.name, self.mean, self.unit, f"{len(self.values)} groups, spread {self.spread:.2g}")]
        lines += [] if self.truth is None else [Line("true, on average", f"{self.truth:.3g}", self.unit)]
        return Page(self.name, lines, self.far)


@dataclass(frozen=True, repr=False)
class ClassPool(Written):
    """What the class found together.

    Attributes
    ----------
    groups : tuple of GroupFound
    answered, by_kit : mapping of Together
        By name, from `RESULTS`; left out where fewer than three groups can tell.
    shared : Precision or None
        Of the sample that every group was given, by the groups' answers.
    shared_truth : float or None
    scores : mapping
        Group → (z, h, k) of the shared sample; k is NaN where it was read once.
    lost : tuple of str
        Files and folders that belong to no group.
    seconds : float
    """

    groups: tuple[GroupFound, ...]
    answered: Mapping[str, Together]
    by_kit: Mapping[str, Together]
    shared: Precision | None
    shared_truth: float | None
    scores: Mapping[str, tuple[float, float, float]]
    lost: tuple[str, ...]
    seconds: float

    def page(self) -> Page:
        """The class's results, the kit's beside them, the shared sample, and what is missing."""
        lines = []
        for name, unit in RESULTS.items():
            own, kit = self.answered.get(name), self.by_kit.get(name)
            beside = [] if kit is None else [f"by the kit, as read, {plus_minus(kit.mean)}"]
            beside += [f"true {own.truth:.3g}"] if own is not None and own.truth is not None else []
            if own is not None:
                lines.append(Line(name, own.mean, unit, "; ".join([f"{len(own.values)} groups", *beside])))
            elif beside:
                lines.append(Line(name, "fewer than three answers", "", "; ".join(beside)))
        far = [f"{name}: {who}" for name, one in self.answered.items() for who in one.far]
        notes = [f"Group {one.group}: {note}" for one in self.groups for note in one.notes]
        remarks = ["The mean is robust: one wild result hardly moves it. Mistakes are still in these results.", *far]
        return Page(
            f"What {len(self.groups)} groups found",
            lines,
            [*remarks, *notes, *self.lost, f"Pooled in {self.seconds:.1f} s."],
            [self._shared_page()],
        )

    def _shared_page(self) -> Page:
        if self.shared is None:
            why = "Fewer than three groups have given results of it, or none has given two."
            return Page("The shared sample", remarks=[why])
        page = self.shared.page()
        lines = [*page.lines]
        if self.shared_truth is not None:
            lines.append(Line("true", f"{self.shared_truth:.2f}", "% vol", "known, since it is invented"))
        for name, (z, h, k) in self.scores.items():
            told = f"h = {h:+.2f} (place among the groups)" + (f", k = {k:.2f} (own scatter)" if k == k else "")
            lines.append(Line(f"group {name}", f"z = {z:+.2f}", "", told))
        return Page(page.heading, lines, page.remarks)

    def picture(self) -> Any:
        """All groups' curves, and their results with the robust mean of the class."""
        names = [name for name in RESULTS if name in self.answered or name in self.by_kit][:4]
        with house_style():
            drawn = figure(16, 9 + 0.32 * len(self.groups))
            columns = max(1, len(names) + (self.shared is not None))
            grid = drawn.add_gridspec(2, columns, height_ratios=[7, 2 + 0.32 * len(self.groups)])
            self._curves(drawn.add_subplot(grid[0, :]))
            for column, name in enumerate(names):
                self._results(drawn.add_subplot(grid[1, column]), name, first=column == 0)
            if self.shared is not None:
                self._shared(drawn.add_subplot(grid[1, len(names)]), self.shared, first=not names)
        return drawn

    def write(self, folder: str | Path) -> Path:
        """Write the page with its picture as pooled.html into a folder; an earlier one is replaced."""
        place = Path(folder)
        place.mkdir(parents=True, exist_ok=True)
        text = whole_page(self.page().heading, svg(self.picture()) + self.page().html(1))
        (place / "pooled.html").write_text(text, encoding="utf-8")
        return place / "pooled.html"

    def _curves(self, ax: Any) -> None:
        colours = list(COLOURS.values())
        for i, one in enumerate(self.groups):
            if one.time_h is not None and one.co2_mol is not None:
                look = {"color": colours[i % 7], "linestyle": DASHES[i % 8], "linewidth": 1.1, "alpha": 0.85}
                ax.plot(one.time_h, one.co2_mol * 1000, **look)
                ax.annotate(one.group, (one.time_h[-1], one.co2_mol[-1] * 1000), fontsize=6.5, va="center")
        ax.set(xlabel="time [h]", ylabel="CO2 made [mmol]", title="Gas of every group")

    def _results(self, ax: Any, name: str, first: bool) -> None:
        pool = self.answered.get(name) or self.by_kit[name]
        self._band(ax, pool.mean, pool.spread, "sky")
        for row, one in enumerate(self.groups):
            for found, mark, size in ((one.given, MARKS[0], 4.5), (one.by_kit, MARKS[1], 3.0)):
                if name in found:
                    look = "black" if found is one.given else "0.6"
                    ax.plot([found[name]], [row], mark, color=look, markersize=size, linestyle="none")
        self._rows(ax, first, f"{name}\n[{RESULTS[name]}]")

    def _shared(self, ax: Any, found: Precision, first: bool) -> None:
        self._band(ax, found.robust_mean, found.robust_sd, "orange")
        for row, one in enumerate(self.groups):
            ax.plot(one.shared, [row] * len(one.shared), MARKS[1], color=COLOURS["vermilion"], markersize=3.5,
                    linestyle="none")  # fmt: skip
        self._rows(ax, first, "shared sample\n[% vol]")

    def _band(self, ax: Any, mean: Any, spread: float, colour: str) -> None:
        middle = nominal(mean)
        ax.axvspan(middle - spread, middle + spread, color=COLOURS[colour], alpha=0.35, linewidth=0)
        ax.axvline(middle, color=COLOURS["blue"], linewidth=1.2)

    def _rows(self, ax: Any, first: bool, label: str) -> None:
        ax.set(xlabel=label, ylim=(len(self.groups) - 0.5, -0.5))
        ax.set_yticks(range(len(self.groups)), [f"{one.group}" for one in self.groups] if first else [], fontsize=7)
        if first:
            ax.set_ylabel("group")


def pool(folder: str | Path, teacher: str | Path | None = None) -> ClassPool:
    """Take together what the groups answered, with the kit's own evaluation of their readings beside it.

    Parameters
    ----------
    folder : str or Path
        The class.
    teacher : str or Path, optional
        Where the key is; with it the true values of an invented class are told. Not needed.

    Returns
    -------
    ClassPool
        A broken run or an impossible answer is told, and costs that group's result only.

    Raises
    ------
    InputError
        If there is no group's folder.
    """
    begun = time.perf_counter()
    place = Path(folder)
    if (place / JARS).exists():
        return _pool_of_jars(place, begun)
    folders, _ = group_folders(place)
    if not folders:
        raise InputError(f"{str(folder)!r} holds no folder called group_01", "a folder of a class", "check the name")
    answers, lost = handed_in(place, HANDED_IN)
    keys = _keys(place, teacher)
    groups = []
    for _, one in with_progress(folders, "analysing group"):
        name = one.name.removeprefix("group_")
        groups.append(_found_in(one, name, answers.get(name, (Answers(), ()))[0], keys.get(name)))
    return pooled_class(tuple(groups), list(keys.values()), tuple(lost), begun)


def _pool_of_jars(place: Path, begun: float) -> ClassPool:
    """Of real jars: nobody knows the truth, so the spread stands alone."""
    jars, lost = read_jars(place)
    if not jars:
        raise InputError(f"{JARS} holds no group's sheet", "sheets called group 01, group 02 …", "name them so")
    answers, strangers = handed_in(place, HANDED_IN, {jar.group: jar.answers for jar in jars})
    groups = []
    for _, jar in with_progress(jars, "analysing group"):
        groups.append(_found_in_jar(jar, answers[jar.group][0]))
    return pooled_class(tuple(groups), [], tuple(lost + strangers), begun)


def pooled_class(
    groups: Sequence[GroupFound], keys: Sequence[Mapping[str, Any]], lost: tuple[str, ...], begun: float
) -> ClassPool:
    """The groups' results taken together."""
    truths = {name: _true(name, keys) for name in RESULTS}
    answered = _together({one.group: one.given for one in groups}, truths)
    by_kit = _together({one.group: one.by_kit for one in groups}, truths)
    results = {one.group: list(one.shared) for one in groups if one.shared}
    enough = len(results) >= FEWEST and any(len(values) > 1 for values in results.values())
    shared = precision(results, "% vol") if enough else None
    truth = keys[0]["shared_truth"] if keys else None
    scores = {} if shared is None else _scores(shared)
    return ClassPool(tuple(groups), answered, by_kit, shared, truth, scores, lost, time.perf_counter() - begun)


def _keys(place: Path, teacher: str | Path | None) -> dict[str, Any]:
    try:
        return {one["group"]: one for one in read_key(teachers_folder(place, teacher))["groups"]}
    except InputError:
        if teacher is not None:
            raise
        return {}


def _together(found: Mapping[str, Mapping[str, float]], truths: Mapping[str, float | None]) -> dict[str, Together]:
    out = {}
    for name, unit in RESULTS.items():
        values = {group: results[name] for group, results in found.items() if name in results}
        if len(values) >= FEWEST:
            mean, spread = robust_mean(list(values.values()))
            out[name] = Together(name, unit, values, mean, spread, truths[name])
    return out


def _true(name: str, keys: Sequence[Mapping[str, Any]]) -> float | None:
    """The mean of the groups' true values; None for a class whose truth nobody knows."""
    each = []
    for one in keys:
        truth = one["truth"]
        numbers = {"sugar": truth["hexose consumed"], "alcohol": truth["ethanol made"],
                   "gas made": truth["CO2 made"] / CO2, "yeast": truth["yeast grown"]}  # fmt: skip
        each.append(_results_of(numbers)[name])
    return float(np.mean(each)) if each else None


def _scores(found: Precision) -> dict[str, tuple[float, float, float]]:
    """z against the robust mean, and h and k of ISO 5725-2, 7.3.1: place among the groups, and scatter of its own."""
    middle, spread = nominal(found.robust_mean), found.robust_sd
    plain = float(np.std(found.means, ddof=1))
    return {
        name: (
            float((mean - middle) / spread) if spread > 0 else 0.0,
            float((mean - found.means.mean()) / plain) if plain > 0 else 0.0,
            float(own / found.repeatability_sd) if found.repeatability_sd > 0 else float("nan"),
        )
        for name, mean, own in zip(found.groups, found.means, found.deviations)
    }


def _results_of(numbers: Mapping[str, float]) -> dict[str, float]:
    """The pooled quantities from sugar, alcohol, gas made and yeast; what cannot be is left out."""
    sugar = numbers.get("sugar", 0.0)
    if not sugar > 0:
        return {}
    out = {"CO2 yield": numbers["gas made"] * HEXOSE / sugar} if "gas made" in numbers else {}
    out |= {f"{of} yield": numbers[of] / sugar for of in ("alcohol", "yeast") if of in numbers}
    carbon = carbon_found(numbers)
    return out | ({} if carbon is None else {"carbon found": carbon})


def answered_by(answers: Answers) -> tuple[dict[str, float], tuple[float, ...], list[str]]:
    """A group's own results, its results of the shared sample, and what was left out."""
    numbers, notes = {}, []
    for name in ("sugar", "alcohol", "gas made", "yeast"):
        again = answers.number(name, mended=True) if name in MENDED else None
        read = again if isinstance(again, Given) else answers.number(name)
        if isinstance(read, Given):
            numbers[name] = read.value
    given = _results_of(numbers)
    beyond = [name for name, value in given.items() if not 0 <= value <= POSSIBLE[name]]
    notes += [f"{name} of {given.pop(name):.3g} {RESULTS[name]} cannot be; left out" for name in beyond]
    read_off = [answers.number(name) for name in SHARED]
    shared = [one.value for one in read_off if isinstance(one, Given)]
    kept = tuple(value for value in shared if 0 <= value <= POSSIBLE["shared"])
    notes += ["a shared sample that cannot be; left out"] if len(kept) < len(shared) else []
    return given, kept, notes


def _found_in(place: Path, name: str, answers: Answers, key: Mapping[str, Any] | None) -> GroupFound:
    given, shared, notes = answered_by(answers)
    curve: tuple[Floats | None, Floats | None] = None, None
    by_kit: dict[str, float] = {}
    shared_by_kit: tuple[float, ...] = ()
    try:
        odd = [path.name for path in (place / RUN).iterdir() if path.is_symlink() or not path.is_file()]
        if odd:
            raise InputError(f"{odd[0]} is no file, but a link, a pipe or a folder", "plain files", "copy the run anew")
        run = read_run(place / RUN)
        analysis = class_results(run, "estimate")
        by_kit, curve, said = by_the_kit(analysis)
        about = open_group(place)
        if key is not None and dict(about.shared) != dict(key["shared"]):
            said.append("the volts of the shared sample are not those handed out; real volts cannot be read on "
                        "invented standards, and are left out")  # fmt: skip
        else:
            shared_by_kit = _read_back(analysis, about.shared)
        notes += said
    except (FermkitError, OSError) as problem:
        met = problem.met if isinstance(problem, FermkitError) else problem.strerror
        notes.append(f"its run cannot be read: {met}")
    except Exception as problem:  # a mistake of ours: the other groups stand, the log has the way through the code
        logging.getLogger("fermkit").debug("group %s cannot be pooled", name, exc_info=True)
        notes.append(f"the program stumbled over its run ({type(problem).__name__})")
    return GroupFound(name, *curve, given, by_kit, shared, shared_by_kit, tuple(notes))


def _found_in_jar(jar: Jar, answers: Answers) -> GroupFound:
    given, shared, notes = answered_by(answers)
    analysis, problem = analysed(jar)
    by_kit, curve, said = by_the_kit(analysis) if analysis is not None else ({}, (None, None), [])
    notes += [*jar.notes, *said, *([problem] if problem else [])]
    return GroupFound(jar.group, *curve, given, by_kit, shared, (), tuple(notes))


def by_the_kit(analysis: Analysis) -> tuple[dict[str, float], tuple[Floats | None, Floats | None], list[str]]:
    """The kit's results of a run, its gas curve, and what is missing."""
    right = {name: one["value"] for name, one in right_answers(analysis).items()}
    worked_out = _worked_out(analysis, right)
    more = [name for name in OF_ESTIMATE if name in worked_out and name not in right]
    results = _results_of(worked_out)
    if more:
        results.pop("carbon found", None)  # by the estimate it closes by itself
    found = {name: x for name, x in results.items() if np.isfinite(x) and 0 <= x <= POSSIBLE[name]}
    missing = [name for name in RESULTS if name not in found]
    notes = [f"no {', no '.join(missing)} by the kit: {analysis.gaps[0] if analysis.gaps else 'not given'}"]
    notes = (notes if missing else []) + [f"{name} not measured, worked out from the rest by the kit" for name in more]
    gas = analysis.gas[0] if analysis.gas else None
    curve = (None, None) if gas is None else (gas.time_h, gas.co2_mol)
    return found, curve, notes


OF_ESTIMATE: Final = {"sugar": ("sugar_used", 1.0), "alcohol": ("ethanol", 1.0), "gas made": ("co2", 1 / CO2),
                      "yeast": ("yeast", 1.0)}  # fmt: skip
"""What the estimate calls a batch quantity, and what makes its grams the unit of the answer."""


def _worked_out(analysis: Analysis, right: Mapping[str, float]) -> dict[str, float]:
    """Batch quantities that a group did not measure and the estimate works out from the rest; none that is assumed."""
    if analysis.estimate is None:
        return dict(right)
    known = {Mark.MEASURED, Mark.WORKED_OUT}
    more = {
        name: analysis.estimate[key].value * times
        for name, (key, times) in OF_ESTIMATE.items()
        if name not in right and analysis.estimate[key].mark in known
    }
    return dict(right) | more


def _read_back(analysis: Analysis, shared: Mapping[str, Any]) -> tuple[float, ...]:
    if analysis.calibration is None:
        return ()
    read = [
        analysis.calibration.read([float(v)], dilution=float(shared["dilution"]), extrapolate=True)
        for v in shared["volts"]
    ]
    return tuple(nominal(one.value) for one in read if np.isfinite(nominal(one.value)))


def _or_dash(value: float | None) -> str:
    return "–" if value is None else f"{value:.3g}"
