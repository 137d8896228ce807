"""A class's data: a run folder for each group with a truth and a fault of its own, and the key beside them."""

import base64
import json
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np

from fermkit.balance.account import Balance
from fermkit.basis.checks import one_of
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, nominal, uncertainty
from fermkit.matter.properties import ethanol_pct_vol_from_concentration, water_density
from fermkit.run.analysis import Analysis, analyse
from fermkit.run.records import run_from, write_run
from fermkit.teach.answers import FILE, QUESTIONS, blank_answers
from fermkit.teach.fermentation import Truth, ferment
from fermkit.teach.group_folder import CHECK_SAMPLE, ENVELOPES, LOCKS, RUN, SHEET, readings_code
from fermkit.teach.handout import hand_out, on_paper, sheet_csv, student_notebooks
from fermkit.teach.kitchen import Kitchen, draw_batch, readings
from fermkit.teach.mishaps import (
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
)
from fermkit.teach.secrecy import derived, drawn_from, lock, new_secret, number_lock

T = TypeVar("T")
FILE_TIME: Final = 1_772_452_800
"""Time of every file of a class: 2026-03-02, 12:00 UTC; the real ones could tell who was dealt what."""

MOST_GROUPS: Final = 99
LEAST_TOLERANCE: Final = 0.01
"""An answer within 1 % is right, however well it could be known (rounding on the way)."""

DRAWN: Final = ("truth", "readings", "habits", "fault", "shared", "envelopes")
SHARED: Final = {"replicates": 2, "u_group": 0.02, "u_repeat": 0.008}
"""The shared sample: two results a group; relative spread between groups' pipettes, and of one group's (invented)."""


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
    """

    folder: Path
    teacher: Path
    class_id: str
    groups: tuple[str, ...]
    seconds: float

    def page(self) -> Page:
        """Where everything is. No fault is named here: the teacher may be looking at it with the class."""
        lines = [
            Line("groups", f"{len(self.groups)}"),
            Line("for the students", str(self.folder)),
            Line("for the teacher only", str(self.teacher)),
            Line("made in", f"{self.seconds:.1f}", "s"),
        ]
        return Page(
            f"Class {self.class_id}",
            lines,
            [
                "The folder for the teacher opens every answer: keep it off shared drives, and keep a copy of it.",
                "Invented data: a simulated batch for each group.",
            ],
        )


def make_class(
    groups: int,
    folder: str | Path,
    *,
    faults: Sequence[str] = NAMES,
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
        Dealt out so that each comes equally often, in an order that the secret decides; "none" is one of them.
        An empty sequence gives honest data to all.
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
    Truth, readings, fault and salts of each group are drawn from the secret, each through HMAC-SHA-256 with its own
    label; all files get the same time. What is right is what the readings give, worked out rightly, within twice its
    standard uncertainty; the truth of the batch stands beside it in the key.
    """
    begun = time.perf_counter()
    place = Path(folder)
    apart = teachers_folder(place, teacher)
    _sensible(groups, place, apart, faults, secret)
    secret = new_secret() if secret is None else secret
    class_id = derived(secret, "class").hex()[:8]
    dealt = _dealt(groups, faults, secret)
    place.parent.mkdir(parents=True, exist_ok=True)
    apart.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=f".{place.name}-", dir=place.parent))
    hidden = Path(tempfile.mkdtemp(prefix=f".{apart.name}-", dir=apart.parent))
    try:
        key = []
        for i, fault in with_progress(dealt, "making group"):
            key.append(_group(part / f"group_{i:02d}", f"{i:02d}", class_id, fault, secret))
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


def read_key(folder: str | Path, teacher: str | Path | None = None) -> dict[str, Any]:
    """The key of a class: its id and, for each group, fault, right answers and truth."""
    place = Path(folder)
    if not place.is_dir():
        raise InputError(f"there is no folder {str(folder)!r}", "the folder of a class", "check the name")
    apart = teachers_folder(place, teacher)
    try:
        key: dict[str, Any] = json.loads((apart / "key.json").read_text(encoding="utf-8"))
        class_id, _ = key["class"], [one["right"] for one in key["groups"]]
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise InputError(
            f"{str(apart)!r} holds no key that can be read ({type(problem).__name__})",
            "key.json, as it was written beside the class",
            "say where they are: --teacher FOLDER",
        ) from None
    found = {_class_of(one) for one in group_folders(place)} - {""}
    if found and class_id not in found:
        raise InputError(
            f"the key is of class {class_id}, the folder of class {', '.join(sorted(found))}",
            "key and class that were made together",
            "look for the teacher's folder of this class",
        )
    return key


def teachers_folder(folder: str | Path, teacher: str | Path | None = None) -> Path:
    """Where secret, key and marks of a class lie: beside it, unless another place is named."""
    place = Path(folder).absolute()
    return Path(teacher) if teacher is not None else place.with_name(place.name + "-teacher")


def group_folders(folder: Path) -> list[Path]:
    """The groups' folders of a class, in order."""
    return sorted(place for place in folder.glob("group_*") if place.is_dir())


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


def _class_of(folder: Path) -> str:
    try:
        return str(json.loads((folder / LOCKS).read_text(encoding="utf-8"))["class"])
    except (OSError, ValueError, KeyError, TypeError):
        return ""


def _sensible(groups: int, place: Path, apart: Path, faults: Sequence[str], secret: bytes | None) -> None:
    if not (isinstance(groups, int) and 1 <= groups <= MOST_GROUPS):
        raise InputError(f"{groups} groups", f"1 to {MOST_GROUPS}", "give a whole number")
    for fault in faults:
        one_of(fault, (*NAMES, NONE), "fault")
    if secret is not None and len(secret) < 16:
        raise InputError(
            f"a secret of {8 * len(secret)} bits", "128 bits or more", "leave it out: one is drawn for you"
        )
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
    rng = drawn_from(secret, "dealing")
    dealt: list[str] = []
    while len(dealt) < groups:
        dealt += [str(name) for name in rng.permutation(list(faults or (NONE,)))]
    return [str(name) for name in rng.permutation(dealt[:groups])]


def class_kitchen(group: str, **changes: Any) -> Kitchen:
    """The kitchen of the lesson: gas collected, sugar well known, samples while the gas still flows."""
    common: dict[str, Any] = {
        "name": f"Group {group}",
        "note": "Invented for a lesson. Baker's yeast on beet molasses; gas collected over water.",
        "hours": 30.0,
        "u_sucrose": 0.004,
        "u_carried_solids": 0.005,
    }
    return Kitchen(**(common | changes))


def _group(folder: Path, group: str, class_id: str, fault: str, secret: bytes) -> dict[str, Any]:
    """Write one group's folder, and give its part of the key."""
    draw = {what: drawn_from(secret, f"group {group}: {what}") for what in DRAWN}
    size = size_of(fault, draw["fault"])
    first_h = 0.5 * int(draw["habits"].integers(14, 17))
    habits = {
        "dilutions": DILUTIONS[int(draw["habits"].integers(2))],
        "samples_h": (first_h, first_h + 3.0, first_h + 7.0),
    }
    kitchen = class_kitchen(group, **habits | into_kitchen(fault, size))
    truth = ferment(draw_batch(kitchen, draw["truth"]))
    settings, honest = readings(truth, draw["readings"], kitchen)
    tables = into_readings(fault, size, honest, kitchen, draw["fault"])
    write_run(settings, tables, folder / RUN)
    analysis = analyse(run_from(settings, tables))
    sheet, wrong = into_working(fault, _sheet(analysis))
    size = size if wrong == 1.0 else wrong
    salts = {
        name: derived(secret, f"group {group}: salt of {name}")[:16] for name in ("fault", *(q.name for q in QUESTIONS))
    }
    right = right_answers(analysis)
    sold = envelopes(_facts(truth, honest, kitchen), draw["envelopes"])
    locks = {
        "class": class_id,
        "group": group,
        "fault": {"salt": salts["fault"].hex(), "hash": lock(fault, salts["fault"])},
        "numbers": {name: number_lock(one["value"], one["tolerance"], salts[name]) for name, one in right.items()},
    }
    for name, text in {
        SHEET: sheet_csv(sheet),
        FILE: blank_answers(class_id, group),
        "hand_out.md": hand_out(group, class_id, sheet),
        CHECK_SAMPLE: _shared_sample(secret, draw["shared"], kitchen),
        LOCKS: json.dumps(locks, indent=1),
        ENVELOPES: json.dumps(
            {name: base64.b64encode(json.dumps(one).encode()).decode() for name, one in sold.items()}, indent=1
        ),
    }.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    for name, text in student_notebooks().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return {
        "group": group,
        "fault": fault,
        "size": size,
        "says": MISHAP[fault].says.format(size=size) if fault in MISHAP else "",
        "right": right,
        "readings": readings_code(folder / RUN),
        "envelopes": sold,
        "truth": dict(truth.amounts),
    }


def right_answers(analysis: Analysis) -> dict[str, dict[str, float]]:
    """What a group's readings give when they are worked out rightly: value, u and tolerance of each answer.

    The tolerance is twice the standard uncertainty, and 1 % at least. What the readings cannot tell is left out.
    """
    found: dict[str, Any] = {}
    if analysis.gas:
        found["gas made"] = analysis.gas[0].total()
    if analysis.growth is not None:
        found |= {"largest rate": analysis.growth.max_rate * 1000, "lag": analysis.growth.lag_h}
    names = {"sugar": "hexose", "alcohol": "ethanol", "CO2": "CO2", "yeast": "yeast"}
    amounts = analysis.amounts
    found |= {
        asked: -amounts[name] if asked == "sugar" else amounts[name] for asked, name in names.items() if name in amounts
    }
    if set(names.values()) <= set(amounts):
        found["carbon found"] = (
            100 * Balance({name: amounts[name] for name in names.values()}).closure().measured_only["carbon"]
        )
    out = {}
    for name, value in found.items():
        x, u = nominal(value), uncertainty(value)
        if np.isfinite(x) and np.isfinite(u):
            out[name] = {"value": x, "u": u, "tolerance": max(2 * u, LEAST_TOLERANCE * abs(x), 1e-6)}
    return out


def _sheet(analysis: Analysis) -> dict[str, float]:
    """The sheet as it would be, worked out rightly [g]."""
    amounts = {name: abs(nominal(value)) for name, value in analysis.amounts.items()}
    litres = nominal(analysis.run.ledger.volume_L(0.0))
    sheet = {"sugar as hexose": amounts["hexose"], "CO2 to expect": amounts["hexose"] * 0.4886}
    for row, name in (("ethanol made", "ethanol"), ("CO2 made", "CO2"), ("yeast made", "yeast")):
        if name in amounts:
            sheet[row] = amounts[name]
    if analysis.ethanol_pct_vol is not None:
        sheet["ethanol by mass"] = nominal(analysis.ethanol_pct_vol) / 100 * litres * 1005.0
    return sheet


def _facts(truth: Truth, honest: Tables, kitchen: Kitchen) -> dict[str, float]:
    """What the further measurements would find."""
    row = honest["weights"]["item"].index("paste sample")
    at = kitchen.hours + 0.25
    cooled = float(water_density(20.0) / water_density(truth.batch.temperature_C))
    concentration = float(truth.at("ethanol_g", at) / truth.at("liquid_L", at)) * cooled
    return {
        "lost_g": float(truth.series["lost_g"][-1]),
        "pct_vol": float(ethanol_pct_vol_from_concentration(concentration)),
        "sample_dry_g": float(honest["weights"]["dry [g]"][row]),
        "sample_h": float(honest["samples"]["time [h]"][0]),
    }


def _shared_sample(secret: bytes, rng: np.random.Generator, kitchen: Kitchen) -> str:
    """Two readings of the sample that every group was given, on the group's own pipette and sensor."""
    content = float(drawn_from(secret, "shared sample").uniform(4.2, 5.6))
    dilution, own = 10, rng.normal(0, SHARED["u_group"])
    rows = ["reading,signal [V],dilution"]
    for i in range(int(SHARED["replicates"])):
        true = content * (1 + own + rng.normal(0, SHARED["u_repeat"]))
        signal = kitchen.blank_V + kitchen.slope_V * true / dilution + rng.normal(0, kitchen.u_signal_V / 3)
        rows.append(f"{i + 1},{signal:.4f},{dilution}")
    return "\n".join([*rows, ""])


def _teachers_folder(folder: Path, class_id: str, key: list[dict[str, Any]], secret: bytes) -> None:
    """Secret, key and papers, readable by their owner only (where the system knows owners)."""
    content = {
        "class": class_id,
        "groups": [{name: part for name, part in one.items() if name != "envelopes"} for one in key],
    }
    for name, text in {
        "secret.txt": secret.hex() + "\n",
        "key.json": json.dumps(content, ensure_ascii=False, indent=1) + "\n",
        "envelopes_to_print.md": on_paper(key),
    }.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
        (folder / name).chmod(0o600)


def _settle_times(folder: Path) -> None:
    for place in (*sorted(folder.rglob("*"), key=lambda path: -len(path.parts)), folder):
        os.utime(place, (FILE_TIME, FILE_TIME))
