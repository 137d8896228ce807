"""A class's data: a run folder for each group with a truth and a mistake of its own, and the key beside them."""

import hashlib
import hmac
import json
import os
import secrets
import shutil
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np

from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import one_of
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written
from fermkit.matter.composition import molar_mass
from fermkit.matter.properties import ethanol_pct_vol_from_concentration, water_density
from fermkit.run.records import run_from, write_run
from fermkit.teach.answers import FILE, FIRST_SAMPLE, blank_answers
from fermkit.teach.class_key import carbon_found, class_results, right_answers, stated
from fermkit.teach.fermentation import Truth, ferment
from fermkit.teach.group_folder import ABOUT, RUN
from fermkit.teach.kitchen import Kitchen, draw_batch, readings
from fermkit.teach.mishaps import (
    ALCOHOL_G_ML,
    DILUTIONS,
    MISHAP,
    NAMES,
    NONE,
    Tables,
    envelopes,
    into_kitchen,
    into_readings,
    into_working,
    size_of,
    within_reach,
)
from fermkit.teach.papers import class_pages, student_notebooks, teacher_pages

T = TypeVar("T")
FILE_TIME: Final = 1_772_452_800
"""Time of every file of a class: 2026-03-02, 12:00 UTC; the real ones could tell who was dealt what."""

MOST_GROUPS: Final = 99
SECRET_BYTES: Final = 32
ENOUGH_FOR_NONE: Final = 4
"""From so many groups on, one at least has no mistake."""

DRAWN: Final = ("truth", "readings", "habits", "mistake", "shared", "slips")
SHARED: Final = {"dilution": 10, "u_group": 0.02, "u_repeat": 0.008}
"""The shared sample: how often diluted; relative spread between groups' pipettes, and of one group's (invented)."""

HANDED_IN: Final = "handed_in"
"""Folder of the class into which answer files that come by mail or stick may be put."""


def derived(secret: bytes, label: str) -> bytes:
    """32 bytes that only the holder of the secret can know, one set for each label (HMAC-SHA-256, RFC 2104)."""
    return hmac.new(secret, label.encode(), hashlib.sha256).digest()


def drawn_from(secret: bytes, label: str) -> np.random.Generator:
    """A generator of random numbers for one purpose; the same secret and label give the same numbers."""
    return np.random.default_rng(int.from_bytes(derived(secret, label), "big"))


@dataclass(frozen=True, repr=False)
class ClassKit(Written):
    """A class that was made: where it lies, and where its key is.

    Attributes
    ----------
    folder, teacher : Path
        What students get, and what they don't.
    class_id : str
    groups : tuple of str
    seconds : float
    invented : bool
        False for a class of real jars.
    """

    folder: Path
    teacher: Path
    class_id: str
    groups: tuple[str, ...]
    seconds: float
    invented: bool = True

    def page(self) -> Page:
        """Where everything is. No fault is named here: the teacher may be looking at it with the class."""
        lines = [
            Line("groups", f"{len(self.groups)}"),
            Line("for the students", str(self.folder)),
            Line("for the teacher only", str(self.teacher)),
            Line("made in", f"{self.seconds:.1f}", "s"),
        ]
        keep = "The folder for the teacher opens every answer: keep it off shared drives, and keep a copy of it."
        told = [keep, "Invented data: a simulated batch for each group."]
        if not self.invented:
            told = ["A sheet for each group: fill it in as the week goes.", *cautions_for("fermenting").sentences()]
        return Page(f"Class {self.class_id}", lines, told)


def make_class(
    groups: int,
    folder: str | Path,
    *,
    faults: Sequence[str] = (*NAMES, NONE),
    teacher: str | Path | None = None,
    secret: bytes | None = None,
) -> ClassKit:
    """Write a folder for each group of a class, and the key beside it.

    Parameters
    ----------
    groups : int
        1 to 99.
    folder : str or Path
        For the students; must not exist.
    faults : sequence of str
        Mistakes to deal out, each about equally often, in an order that the secret decides. "none" is one of them:
        from four groups on, one at least has none. An empty sequence gives honest data to all.
    teacher : str or Path, optional
        For key, secret and papers; ``<folder>-teacher`` if not given. Never inside `folder`.
    secret : bytes, optional
        16 bytes or more from a secret source, to make the same class again; drawn anew if not given.

    Returns
    -------
    ClassKit

    Raises
    ------
    InputError
        If a folder is there already, or the teacher's would lie in the students'.

    Notes
    -----
    Recipe, truth, readings and mistake of each group are drawn from the secret, each with its own label; all files get
    the same time. Nothing of the key, no lock and no result of a further measurement lies in a student's folder.
    """
    begun = time.perf_counter()
    place = Path(folder)
    apart = teachers_folder(place, teacher)
    _sensible(groups, place, apart, faults, secret)
    secret = secrets.token_bytes(SECRET_BYTES) if secret is None else secret
    class_id = derived(secret, "class").hex()[:8]
    dealt = _dealt(groups, faults, secret)
    place.parent.mkdir(parents=True, exist_ok=True)
    apart.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=f".{place.name}-", dir=place.parent))
    hidden = Path(tempfile.mkdtemp(prefix=f".{apart.name}-", dir=apart.parent))
    try:
        books, key = student_notebooks(), []
        for i, fault in with_progress(dealt, "making group"):
            key.append(_group(part / f"group_{i:02d}", f"{i:02d}", class_id, fault, secret, books))
        (part / HANDED_IN).mkdir()
        _teachers_folder(hidden, class_id, key, secret)
        _settle_times(part)
        part.chmod(0o755)
        part.rename(place)
        hidden.rename(apart)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        shutil.rmtree(hidden, ignore_errors=True)
        raise
    names = tuple(one["group"] for one in key)
    return ClassKit(place, apart, class_id, names, time.perf_counter() - begun)


def read_key(teacher: str | Path) -> dict[str, Any]:
    """The key of a class from the teacher's folder: its id and, for each group, mistake, right answers and truth."""
    place = Path(teacher)
    try:
        key: dict[str, Any] = json.loads((place / "key.json").read_text(encoding="utf-8"))
        _ = key["class"], [(one["group"], one["read"], one["mended"]) for one in key["groups"]]
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as problem:
        raise InputError(
            f"{str(place)!r} holds no key that can be read ({type(problem).__name__})",
            "key.json, as it was written beside the class",
            "say where it is: --teacher FOLDER",
        ) from None
    return key


def teachers_folder(folder: str | Path, teacher: str | Path | None = None) -> Path:
    """Where secret, key and marks of a class lie: beside it, unless another place is named."""
    place = Path(folder).absolute()
    return Path(teacher) if teacher is not None else place.with_name(place.name + "-teacher")


def with_progress(items: Iterable[T], doing: str) -> Iterator[tuple[int, T]]:
    """Count through items from 1, saying on the terminal how far it is once a second has passed."""
    everything = list(items)
    begun = said = time.perf_counter()
    for i, item in enumerate(everything, start=1):
        yield i, item
        now = time.perf_counter()
        if now - said > 1 or (said > begun and i == len(everything)):
            print(f"\r{doing} {i} of {len(everything)}, {now - begun:.0f} s", end="", file=sys.stderr, flush=True)
            said = now
    if said > begun:
        print(file=sys.stderr)


def _sensible(groups: int, place: Path, apart: Path, faults: Sequence[str], secret: bytes | None) -> None:
    sensible_places(groups, place, apart)
    for fault in faults:
        one_of(fault, (*NAMES, NONE), "fault")
    if secret is not None and len(secret) < 16:
        raise InputError(
            f"a secret of {8 * len(secret)} bits", "128 bits or more", "leave it out: one is drawn for you"
        )


def sensible_places(groups: int, place: Path, apart: Path) -> None:
    """Refuse a number of groups or places that cannot be, before anything is written."""
    if not (isinstance(groups, int) and 1 <= groups <= MOST_GROUPS):
        raise InputError(f"{groups} groups", f"1 to {MOST_GROUPS}", "give a whole number")
    for there in (place, apart):
        if there.exists():
            raise InputError(
                f"{str(there)!r} is there already", "a new name", "choose another; nothing was overwritten"
            )
    if place.resolve() == apart.resolve() or place.resolve() in apart.resolve().parents:
        raise InputError(
            f"the teacher's folder {str(apart)!r} would lie in the students'", "a place of its own", "choose another"
        )


def _dealt(groups: int, faults: Sequence[str], secret: bytes) -> list[str]:
    rng, deck = drawn_from(secret, "dealing"), list(faults or (NONE,))
    dealt = [NONE] if NONE in deck and groups >= ENOUGH_FOR_NONE else []
    rest = [name for name in deck if name != NONE or not dealt]
    while len(dealt) < groups:
        dealt += [str(name) for name in rng.permutation(rest)]
        rest = deck
    return [str(name) for name in rng.permutation(dealt[:groups])]


def class_kitchen(group: str, rng: np.random.Generator, **changes: Any) -> Kitchen:
    """A kitchen of the lesson: gas collected, sugar well known, samples while the gas still flows; a recipe of its own.

    Amounts differ so much between groups that the numbers of one are wrong for another.
    """
    litres = round(float(rng.uniform(1.0, 2.4)), 1)
    first_h = 0.5 * int(rng.integers(14, 17))
    common: dict[str, Any] = {
        "name": f"Group {group}",
        "note": "Invented for a lesson. Baker's yeast on beet molasses; gas collected over water.",
        "hours": 30.0,
        "liquid_L": litres,
        "molasses_g": 5.0 * round(litres * float(rng.uniform(80, 145)) / 5),
        "sucrose": round(float(rng.uniform(0.46, 0.52)), 3),
        "yeast_g": round(float(rng.uniform(4.0, 7.5)), 1),
        "temperature_C": float(rng.integers(23, 34)),
        "barometer_bar": round(float(rng.uniform(0.985, 1.025)), 3),
        "collector_C": float(rng.integers(19, 25)),
        "u_sucrose": 0.004,
        "u_carried_solids": 0.005,
        "dilutions": DILUTIONS[int(rng.integers(2))],
        "samples_h": (first_h, first_h + 3.0, first_h + 7.0),
    }
    return Kitchen(**(common | changes))


def _group(folder: Path, group: str, class_id: str, fault: str, secret: bytes, books: dict[str, str]) -> dict[str, Any]:
    """Write one group's folder, and give its part of the key."""
    draw = {what: drawn_from(secret, f"group {group}: {what}") for what in DRAWN}
    size = size_of(fault, draw["mistake"])
    kitchen = class_kitchen(group, draw["habits"], **into_kitchen(fault, size))
    truth = ferment(draw_batch(kitchen, draw["truth"]))
    settings, honest = readings(truth, draw["readings"], kitchen)
    size = within_reach(fault, size, honest)
    tables = into_readings(fault, size, honest, kitchen, draw["mistake"])
    write_run(settings, tables, folder / RUN)
    run = run_from(settings, tables)
    analysis = class_results(run)
    rules, wrong = into_working(fault)
    size = size if wrong == 1.0 else wrong
    right, facts = right_answers(analysis), _facts(truth, honest, kitchen)
    about = {
        "class": class_id,
        "group": group,
        "rules": rules,
        "shared": {"dilution": SHARED["dilution"], "volts": _shared_sample(secret, draw["shared"], kitchen)},
    }
    page, printed = class_pages(about, run, analysis)
    for name, text in {
        f"group_{group}.html": page,
        ABOUT: json.dumps(about, indent=1),
        FILE: blank_answers(class_id, group),
        **books,
    }.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    slips = envelopes(facts, draw["slips"])
    return {
        **about,
        "fault": fault,
        "size": size,
        "says": MISHAP[fault].says.format(size=size) if fault in MISHAP else "",
        "read": right,
        "mended": right | _mended(fault, right, slips, kitchen, honest, settings),
        "stated": stated(run, analysis),
        "slips": slips,
        "shared_truth": _shared_content(secret),
        "truth": dict(truth.amounts),
        "paper": printed,
    }


def _mended(
    fault: str, right: dict[str, Any], slips: dict[str, Any], kitchen: Kitchen, honest: Tables, settings: dict[str, Any]
) -> dict[str, dict[str, float]]:
    """The answers that change, as the slips of paper give them, worked out rightly."""
    if fault not in MISHAP or MISHAP[fault].where == "working":
        return {}

    def bought(measurement: str, line: int) -> float:
        return float(slips[measurement]["lines"][line][1].split(" ")[0])

    out: dict[str, dict[str, float]] = {}
    if fault == "leak":
        grams = bought("weigh the jar", 2) - bought("weigh the jar", 3) + bought("weigh the jar", 4)
        out["gas made"] = _about(grams / molar_mass("CO2"), 0.02)
    elif MISHAP[fault].mends == "alcohol":
        two = [bought(name, 0) * 10 * ALCOHOL_G_ML * kitchen.liquid_L for name in MISHAP[fault].settled_by]
        out["alcohol"] = _about(sum(two) / 2, 0.015)
    elif fault == "wet product":
        out["yeast"] = right_answers(class_results(run_from(settings, honest)))["yeast"]
        out["yeast"]["tolerance"] = max(out["yeast"]["tolerance"], 0.3)
    else:
        out[FIRST_SAMPLE.name] = {"value": bought("compare the clocks", 0), "u": 0.05, "tolerance": 0.26}
    values = {name: one["value"] for name, one in (right | out).items()}
    if (carbon := carbon_found(values)) is not None:
        out["carbon found"] = _about(carbon, 0.015)
    return out


def _about(value: float, share: float) -> dict[str, float]:
    return {"value": value, "u": share * value, "tolerance": 2 * share * value}


def _facts(truth: Truth, honest: Tables, kitchen: Kitchen) -> dict[str, float]:
    """What the further measurements would find."""
    row = honest["weights"]["item"].index("paste sample")
    at = kitchen.hours + 0.25
    cooled = float(water_density(20.0) / water_density(truth.batch.temperature_C))
    concentration = float(truth.at("ethanol_g", at) / truth.at("liquid_L", at)) * cooled
    end = {name: float(series[-1]) for name, series in truth.series.items()}
    return {
        "lost_g": end["lost_g"],
        "other_g": end["lost_g"] - molar_mass("CO2") * end["co2_out_mol"],
        "held_g": molar_mass("CO2") * (end["co2_dissolved_mol"] + end["co2_headspace_mol"]),
        "pct_vol": float(ethanol_pct_vol_from_concentration(concentration)),
        "sample_dry_g": float(honest["weights"]["dry [g]"][row]),
        "sample_h": float(honest["samples"]["time [h]"][0]),
    }


def _shared_content(secret: bytes) -> float:
    """What the sample that every group was given truly holds [% vol]."""
    return float(drawn_from(secret, "shared sample").uniform(4.2, 5.6))


def _shared_sample(secret: bytes, rng: np.random.Generator, kitchen: Kitchen) -> list[float]:
    """Two readings of the sample that every group was given, on the group's own pipette and sensor [V]."""
    own = rng.normal(0, SHARED["u_group"])
    true = [_shared_content(secret) * (1 + own + rng.normal(0, SHARED["u_repeat"])) for _ in range(2)]
    bare = [kitchen.blank_V + kitchen.slope_V * one / SHARED["dilution"] for one in true]
    return [round(float(volts + rng.normal(0, kitchen.u_signal_V / 3)), 4) for volts in bare]


def _teachers_folder(folder: Path, class_id: str, key: list[dict[str, Any]], secret: bytes) -> None:
    """Secret, key and papers, readable by their owner only (where the system knows owners)."""
    content = {"class": class_id, "groups": [{n: part for n, part in one.items() if n != "paper"} for one in key]}
    for name, text in {
        "secret.txt": secret.hex() + "\n",
        "key.json": json.dumps(content, ensure_ascii=False, indent=1) + "\n",
        **teacher_pages(class_id, key),
    }.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
        (folder / name).chmod(0o600)


def _settle_times(folder: Path) -> None:
    for place in (*sorted(folder.rglob("*"), key=lambda path: -len(path.parts)), folder):
        os.utime(place, (FILE_TIME, FILE_TIME))
