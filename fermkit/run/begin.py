"""A run begun from a few answers: a short run.toml with only what was said, each line explained, and empty tables."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.checks import one_of
from fermkit.basis.errors import InputError
from fermkit.basis.quantities import read_quantity
from fermkit.basis.written import plus_minus
from fermkit.matter.ingredients import ingredient_names
from fermkit.matter.properties import sucrose_density
from fermkit.run.by_names import BY_NAMES
from fermkit.run.explained import explained_toml
from fermkit.run.findings import did_you_mean
from fermkit.run.format import TABLES
from fermkit.run.proposals import Proposal, propose
from fermkit.run.sections_batch import CLOSED
from fermkit.run.sections_gas import GAS_KINDS
from fermkit.run.writing import write_files

WORKED_OUT: Final = 0.03
"""± of a volume worked out from water and sugar, as a share: molasses holds water of its own (judgement, no source)."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What someone will measure: gas of a kind, tables to fill in, and keys of run.toml to fill in later."""

    words: str
    gas: str = ""
    tables: Mapping[str, Sequence[str]] = field(default_factory=dict)
    later: Mapping[str, Sequence[str]] = field(default_factory=dict)


MEASURES: Final[Mapping[str, Measured]] = {
    "gas volume": Measured("gas caught in a cylinder, a syringe or a bag", "collected volume"),
    "gas flow": Measured("gas through a flow meter", "flow rate"),
    "bubbles": Measured("bubbles counted at the airlock", "bubble count"),
    "weight": Measured("the whole vessel on a scale, again and again", "vessel weight"),
    "pressure": Measured("a gauge on the closed vessel", "pressure"),
    "alcohol": Measured("one value at the end, from elsewhere or read off", later={"ethanol": ("content",)}),
    "alcohol sensor": Measured(
        "a sensor with standards of known alcohol",
        tables={"standards": ("ethanol", "signal"), "samples": ("sample", "time", "dilution", "signal")},
    ),
    "density": Measured("a hydrometer, before and after", later={"density": ("start", "end", "reading temperature")}),
    "sugar left": Measured("sugar at the end", later={"residual_sugar": ("value", "method")}),
    "sugar in time": Measured("hydrometer, refractometer or sugar test, again and again",
                              tables={"sugar": ("time", "gravity", "brix", "glucose", "temperature")}),
    "room air": Measured("a CO2 meter in the room or cupboard", "room air", later={"room": ("volume", "air changes")}),
    "pH": Measured("pH of the liquid, again and again", tables={"acidity": ("time", "pH")}),
    "warmth": Measured("temperature of the liquid, again and again", tables={"temperature": ("time", "temperature")}),
    "cells": Measured("cells counted under a grid, stained ones apart",
                      tables={"counts": ("time", "cells", "squares", "dead", "dilution")}),
    "cloudiness": Measured("optical density of the liquid", tables={
        "turbidity": ("time", "optical density", "dilution"), "turbidity_standards": ("dry", "optical density")}),
    "dry grams": Measured("dry grams of paste, extract or debris", later={"harvest": ("paste", "extract", "debris")}),
    "weighings": Measured("dishes empty, wet and dry", tables={"weights": ("item", "tare", "wet", "dry")}),
    "washing": Measured("what was poured off the yeast, and what was in it",
                        tables={"washing": ("what", "volume", "brix", "cells")}),
    "drying": Measured("one dish, weighed again while it dries", tables={"drying": ("time", "weight")}),
    "warm hold": Measured("temperature of the paste through its hold", tables={"hold": ("time", "temperature")}),
    "dissolving": Measured("what has dissolved, again and again through the warm hold",
                           tables={"hold": ("time", "temperature", "brix", "amino nitrogen")}),
    "keeping": Measured("water and salt of the product", later={"keeping": ("water", "salt", "portion")}),
}
"""What a person may say that they will measure."""

GAS_LATER: Final[Mapping[str, Sequence[str]]] = {
    "collected volume": ("collector temperature",),
    "flow rate": ("flow factor", "collector temperature"),
    "bubble count": ("volume per bubble", "collector temperature"),
}
"""What a kind of gas reading needs besides its readings."""

QUESTIONS: Final = {
    "sugar": 'What sugar, and how much? Such as "150 g" or "300 g beet molasses"; several with a comma',
    "water": 'How much water? Such as "2 L"',
    "yeast": 'How much yeast? Such as "5 g" or "10 g fresh yeast"',
    "vessel": 'How large is the vessel, up to the lid? Such as "3 L jar"',
    "closed": f"How is it closed? {', '.join(CLOSED)}",
    "measure": f"What will you measure? Any of: {', '.join(MEASURES)}",
}
"""What `begin` asks. Only the sugar must be answered."""


def begin(
    folder: str | Path, sugar: str | Sequence[str] | None = None, *, water: str = "", liquid: str = "",
    yeast: str = "", vessel: str = "", closed: str = "", temperature: str = "",
    measure: str | Sequence[str] = (), readings: str | Path | Sequence[str | Path] = (),
    ask: Callable[[str], str] = input,
) -> Path:  # fmt: skip
    """Begin a run: a folder with a short run.toml and empty tables, which analyses at once. Never overwrites.

    Parameters
    ----------
    folder : str or Path
        Must not exist, or be empty.
    sugar : str or list of str
        Such as "150 g" or "300 g beet molasses". Left out, a few questions are asked; only this one needs an answer.
    water : str
        Such as "2 L"; the volume with the sugar in it is worked out.
    liquid : str
        Or that volume itself.
    yeast, vessel, temperature : str
        Such as "5 g", "3 L jar", "22 °C".
    closed : str
        airlock, closed, vented or open.
    measure : str or list of str
        Keys of `MEASURES`, such as "bubbles" or "alcohol"; in a text with commas between.
    readings : path or list of paths
        Files of your own, CSV or .xlsx. They are copied, and what their columns mean is proposed from their titles.
    ask : callable
        Takes a question and returns the answer.

    Returns
    -------
    pathlib.Path
        The folder.

    Raises
    ------
    InputError
        For an answer that cannot be read, or a folder that is not empty; nothing is written then.

    Examples
    --------
    >>> import tempfile, fermkit as fk
    >>> with tempfile.TemporaryDirectory() as place:
    ...     folder = fk.begin(place + "/jar", "150 g", water="1.5 L", measure="bubbles")
    ...     print(sorted(path.name for path in folder.iterdir()), fk.read_run(folder).vessel.liquid_L)
    ['gas.csv', 'run.toml'] 1.59+/-0.05
    """
    told: dict[str, Any] = {
        "sugar": sugar, "water": water, "liquid": liquid, "yeast": yeast, "vessel": vessel, "closed": closed,
        "temperature": temperature, "measure": measure,
    }  # fmt: skip
    if sugar is None:
        told |= _asked({key: told[key] for key in QUESTIONS if not told[key]}, ask)
    settings, later, tables = as_settings(told)
    files = [Path(one) for one in ([readings] if isinstance(readings, (str, Path)) else readings)]
    copied = {}
    for file in files:
        copied[file.name] = _bytes_of(file)
        for proposal in propose(copied[file.name], file.name):
            _take_up(proposal, settings, tables, later)
    texts = {f"{name}.csv": (",".join(titles) + "\n").encode() for name, titles in tables.items()}
    return write_files({"run.toml": explained_toml(settings, later).encode()} | texts | copied, folder)


def _asked(open_: Mapping[str, Any], ask: Callable[[str], str]) -> dict[str, str]:
    """The answers to the questions that are open; what cannot be read is asked again."""
    said: dict[str, str] = {}
    for key in open_:
        hint = "" if key == "sugar" else " (or nothing)"
        while True:
            try:
                answer = ask(f"{QUESTIONS[key]}{hint}: ").strip()
            except EOFError:
                raise InputError(
                    f"the answers end before {key} is told", "what sugar and how much",
                    'write it behind the folder: --sugar "150 g"',
                ) from None
            try:
                as_settings({"sugar": "1 g"} | said | {key: answer})
            except InputError as problem:
                print(f"  {problem}")
                continue
            if answer or key != "sugar":
                said[key] = answer
                break
    return said


Settings = dict[str, Any]


def as_settings(told: Mapping[str, Any]) -> tuple[Settings, dict[str, Sequence[str]], dict[str, list[str]]]:
    """Settings, keys to fill in later, and tables with their headers, from answers as `begin` takes them."""
    settings: Settings = {"vessel": {}, "conditions": {}}
    feed = [amount_and_name(one, "white sugar") for one in _listed(told.get("sugar"))]
    if told.get("water") or told.get("liquid"):
        settings["vessel"]["liquid"] = told.get("liquid") or _volume(str(told["water"]), feed)
        read_quantity(settings["vessel"]["liquid"], "L", "liquid")
    if told.get("vessel"):
        size, kind = _split(str(told["vessel"]), ("L",))
        settings["vessel"]["total"] = size
        settings["vessel"] |= {"kind": kind} if kind else {}
    if told.get("closed"):
        one_of(told["closed"], CLOSED, "closed")
        settings["vessel"]["closed"] = told["closed"]
    if told.get("temperature"):
        read_quantity(str(told["temperature"]), "°C", "temperature")
        settings["conditions"]["temperature"] = told["temperature"]
    settings["feed"] = [{"ingredient": name, "amount": amount} for amount, name in feed]
    if told.get("yeast"):
        amount, name = amount_and_name(str(told["yeast"]), "active dry yeast")
        settings["inoculum"] = {"ingredient": name, "amount": amount}
    later: dict[str, Sequence[str]] = {}
    tables: dict[str, list[str]] = {}
    for word in _listed(told.get("measure")):
        one_of(word, MEASURES, "what you will measure")
        _measured(MEASURES[word], settings, later, tables)
    return {name: part for name, part in settings.items() if part}, later, tables


def _measured(
    what: Measured, settings: Settings, later: dict[str, Sequence[str]], tables: dict[str, list[str]]
) -> None:
    later |= what.later
    for name, keys in what.tables.items():
        tables[name] = [column.title for key in keys for column in TABLES[name] if column.written == key]
    if what.gas:
        kind = GAS_KINDS[what.gas]
        extra = {"pressure": "gauge"} if what.gas == "pressure" else {}
        settings.setdefault("gas", []).append({"kind": what.gas, **extra})
        later[f"gas {what.gas}"] = GAS_LATER.get(what.gas, ())
        column = kind.column.replace("_gauge", "")
        titles = {one.name: one.title for one in TABLES["gas"]}
        header = tables.setdefault("gas", [titles["time_h"]])
        header.append(titles[column])


def _take_up(
    proposal: Proposal, settings: Settings, tables: dict[str, list[str]], later: dict[str, Sequence[str]]
) -> None:
    """Put a file of the person's own in place of the empty table that it stands for."""
    settings.setdefault("tables", {})[proposal.table] = proposal.settings
    tables.pop(proposal.table, None)
    known = {one["kind"] for one in settings.get("gas", ()) if one.get("table", "gas") == proposal.table}
    for kind in proposal.gas:
        if kind not in known:
            settings.setdefault("gas", []).append({"kind": kind})
            later[f"gas {kind}"] = ("pressure",) if kind == "pressure" else GAS_LATER.get(kind, ())
    if proposal.asked:
        later[f"tables.{proposal.table}"] = proposal.asked


def amount_and_name(said: str, otherwise: str) -> tuple[str, str]:
    """An amount and an ingredient out of ``"300 g beet molasses"``.

    Examples
    --------
    >>> amount_and_name("300 g beet molasses", "white sugar"), amount_and_name("150 ± 1 g", "white sugar")
    (('300 g', 'beet molasses'), ('150 ± 1 g', 'white sugar'))
    """
    amount, name = _split(said, ("g", "mL"))
    name = re.sub(r"^of ", "", name) or otherwise
    if name.lower() not in (*ingredient_names(), *BY_NAMES):
        raise InputError(
            f"{name!r} is no ingredient of the built-in table", f"one of: {', '.join(ingredient_names())}",
            f"{did_you_mean(name, ingredient_names())} Take the nearest; you can write its own make-up into run.toml",
        )  # fmt: skip
    return amount, name


def _split(said: str, units: Sequence[str]) -> tuple[str, str]:
    """The amount at the front of a phrase, or at its end, and the words that are left."""
    words = said.split()
    cuts = [(words[:i], words[i:]) for i in range(len(words), 0, -1)]
    for amount, rest in [*cuts, *((words[i:], words[:i]) for i in range(1, len(words)))]:
        for unit in units:
            try:
                read_quantity(" ".join(amount), unit, "amount")
            except InputError:
                continue
            return " ".join(amount), " ".join(rest)
    raise InputError(
        f"no amount can be read from {said[:60]!r}", f"a number with its unit, such as '150 {units[0]}'", "add the unit"
    )


def _volume(water: str, feed: Sequence[tuple[str, str]]) -> str:
    """Volume of water with the sugar in it, as of a solution of sucrose of that mass."""
    litres = read_quantity(water, "L", "water").value
    grams = 0.0
    for amount, _ in feed:
        try:
            grams += read_quantity(amount, "g", "sugar").value
        except InputError:
            grams += 1.4 * read_quantity(amount, "mL", "sugar").value  # a syrup, about 1.4 g/mL (common practice)
    whole_kg = litres + grams / 1000
    volume = whole_kg / (float(sucrose_density(grams / 1000 / whole_kg)) / 1000) if grams else litres
    return plus_minus(ufloat(volume, WORKED_OUT * volume), "L")


def _listed(said: Any) -> list[str]:
    many = re.split(r"[,;]\s+|[;+]", said) if isinstance(said, str) else [str(one) for one in said or ()]
    return [one.strip() for one in many if one.strip()]


def _bytes_of(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as problem:
        raise InputError(
            f"{file.name!r} cannot be read: {problem.strerror or problem}", "a CSV file or a workbook", "check the path"
        ) from None
