"""run.toml ⇄ settings: each value read as the format declares it, converted once, and oddities said."""

import json
import math
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from fermkit.basis.budget import Act
from fermkit.basis.checks import nearest
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import HALF_WIDTH
from fermkit.basis.quantities import Quantity, as_number, read_quantity
from fermkit.basis.written import Number
from fermkit.calibration.density import convert_ethanol
from fermkit.matter.properties import water_density
from fermkit.run.fields import Field, Section, fields_of
from fermkit.run.findings import Remarks, did_you_mean
from fermkit.run.format import LISTS, NAMED, SECTIONS, TABLES
from fermkit.run.sections_batch import OWN_TABLES, READS, Instrument
from fermkit.run.sections_gas import GAS_KINDS, unused_by

MOST_PARTS: Final = 200
"""Most ingredients, gas routes or replicates that one run may have."""

MOST: Final = 1e7
"""Largest number that a setting may have, in fermkit's units: ten tonnes, a tank of ten cubic metres. What is beyond
is a slip of the keys, and sums over such and kitchen numbers lose their digits."""
WIDEST: Final = 1e-6
"""Smallest share of its ± that a number may be, if it is not nought: beyond, one of the two is a slip."""

FILE: Final = "run.toml"
YES_NO: Final = {"true": True, "yes": True, "at each reading": True, "false": False, "no": False}
MASS_OR_VOLUME: Final = (("g", "g"), ("mL", "mL"))
STEPS: Final = (*MASS_OR_VOLUME, ("°C", "C"), ("bar", "bar"))


def read_toml(data: bytes, file: str = FILE) -> dict[str, Any]:
    """The settings as written, from the bytes of run.toml.

    Raises
    ------
    InputError
        Where the file is not TOML in UTF-8; the message names line and column.
    """
    try:
        return tomllib.loads(data.decode("utf-8-sig").replace("\r\n", "\n"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError, ValueError) as problem:
        raise InputError(
            f"{file} cannot be read: {str(problem)[:200]}", "a TOML file in UTF-8",
            'mend that line; texts and values with units stand in quotes: liquid = "2.0 L"',
        ) from None  # fmt: skip


@dataclass(frozen=True)
class Settings:
    """The sections of run.toml while they are read.

    `sections` holds them typed; `degrees_of_freedom` has n − 1 for each value given as replicates; `usual` lists
    what was taken where no ± was written; `steps` has, by place and unit, the ± of an instrument's own resolution.
    """

    book: Remarks
    sections: dict[str, Any] = field(default_factory=dict)
    degrees_of_freedom: dict[str, int] = field(default_factory=dict)
    usual: list[str] = field(default_factory=list)
    steps: dict[str, dict[str, float]] = field(default_factory=dict)

    def value(self, place: str, about: Field, written: Any, called: str) -> dict[str, Any]:
        """One key's value, as name → value; an amount gives its text and its number."""
        name = f"{self.book.file}, {place}.{about.written.replace(' ', '_')}"
        act = Act(f"{place.split()[0]} {called} {about.name}", about.act.format(ingredient=called))
        if isinstance(written, Mapping):
            raise InputError(f"{name} is a section", "a single value", "write the value in quotes, with its unit")
        if about.kind == "text":
            return {about.name: str(written)[:2000]}
        if about.kind == "flag":
            return {about.name: _flag(name, written)}
        if about.kind == "word":
            return {about.name: _word(name, written, about.words)}
        if about.kind == "words":
            many = written if isinstance(written, list) else str(written).split(",")
            return {about.name: tuple(_word(name, str(one).strip(), about.words) for one in many)}
        if about.kind in ("amount", "resolution"):
            return self._amount(name, place, about, written, act)
        if isinstance(written, list):
            return {about.name: self._several(name, place, about, written, act)}
        quantity = _within(name, _quantity(name, about, written), about)
        if about.kind in ("interval", "range") and quantity.ends:
            return {about.name: quantity.ends}
        if about.kind == "interval":
            return {about.name: (quantity.value, quantity.value)}
        if about.kind == "u":
            return {about.name: _above_zero(name, quantity.value, about, Quantity(0.0))}
        if about.kind == "claim":
            return {about.name: quantity.value}
        return {about.name: self.number(name, place, about, quantity, act)}

    def number(self, name: str, place: str, about: Field, quantity: Quantity, act: Act) -> Any:
        """With its own ±, or the usual one, which is then listed; exact where the format says so."""
        most = about.high - about.low if math.isfinite(about.high - about.low) else MOST
        if 0 < abs(quantity.value) < WIDEST * quantity.u:
            most = abs(quantity.value) / WIDEST
        if abs(quantity.value) > MOST or quantity.u > most:
            raise InputError(
                f"{name} is {_with_unit(quantity.value, about)} ± {quantity.u:g}",
                f"a value up to {MOST:g}, its ± up to {most:g} {about.unit.removeprefix('1')}".rstrip(),
                "check the number and its unit",
            )  # fmt: skip
        if quantity.stated:
            if quantity.u == 0 and about.usual is not None:
                _above_zero(name, 0.0, about, quantity)
            return as_number(quantity, act)
        if about.usual is None or quantity.u > 0:
            return as_number(quantity, act)
        read_off = about.name != "check_weight_g"  # that one is known, and not read off the instrument
        own = self.steps.get(place.split(" ")[0], {}).get(about.unit) if read_off else None
        step = quantity.resolution if read_off else 0.0
        u = own or about.usual.of(quantity.value, step, about=quantity.about, high=about.high)
        if not own:
            self.usual.append(f"{place}.{about.written.replace(' ', '_')} ± {_said(u, about)}")
        return as_number(Quantity(quantity.value, u), act)

    def _several(self, name: str, place: str, about: Field, written: Sequence[Any], act: Act) -> Any:
        """Replicates: their mean and its standard error; of dry grams the sum."""
        if not 2 <= len(written) <= MOST_PARTS:
            raise InputError(
                f"{name} is a list of {len(written)}", f"2 to {MOST_PARTS} replicates",
                "write a single value without brackets",
            )  # fmt: skip
        many = [_within(name, _quantity(name, about, one), about) for one in written]
        if about.kind == "grams":
            acts = (Act(f"{act.key} {i}", f"{act}, dish {i}") for i in range(1, len(many) + 1))
            parts = [self.number(name, place, about, *one) for one in zip(many, acts)]
            self.book.note(f"{len(parts)} dishes of {about.written} were added up", column=place)
            return sum(parts[1:], parts[0])
        values = np.array([one.value for one in many])
        self.degrees_of_freedom[f"{place}.{about.name}"] = len(values) - 1
        error = float(values.std(ddof=1)) / math.sqrt(len(values))
        alike = [one.resolution / 2 * HALF_WIDTH for one in many]  # replicates that agree to the digit still have ±
        return as_number(Quantity(float(values.mean()), error or max(alike)), act)

    def _amount(self, name: str, place: str, about: Field, written: Any, act: Act) -> dict[str, Any]:
        """The text, and the number where it is a mass or volume; of a resolution also a temperature or pressure."""
        out: dict[str, Any] = {about.name: str(written)[:200]}
        for unit, suffix in MASS_OR_VOLUME if about.kind == "amount" else STEPS:
            try:
                quantity = read_quantity(str(written), unit, name)
            except InputError:
                continue
            if quantity.value < 0:
                raise InputError(f"{name} is {written!r}", "an amount of zero or more", "mend the sign")
            if about.kind == "resolution":
                out[f"u_reading_{suffix}"] = self.steps.setdefault(place, {})[unit] = quantity.value * HALF_WIDTH
            else:
                out[f"{about.name}_{suffix}"] = self.number(name, place, about, quantity, act)
            break
        else:
            if about.kind == "resolution":
                raise InputError(f"{name} is {str(written)[:40]!r}", "a step such as '1 g' or '0.1 °C'", "add its unit")
        return out


def read_settings(written: Mapping[str, Any], book: Remarks) -> Settings:
    """Every value of run.toml in fermkit's units.

    Parameters
    ----------
    written : mapping
        Sections with keys, as in run.toml.
    book : Remarks
        Takes the findings.

    Returns
    -------
    Settings
    """
    found = Settings(book)
    given: dict[str, Any] = {}
    for name, part in written.items():
        if _same(name) == OWN_TABLES:  # how files of the person's own are read: see own_files
            continue
        if _same(name) not in SECTIONS:
            book.note(
                f"the section {name[:60]!r} is not known and was left out; {did_you_mean(name, SECTIONS)}",
                column=f"[{name}]", level="doubt",
            )  # fmt: skip
        if _same(name) in given:
            raise book.refusal(f"the section {name!r} is there twice", "each section once", "draw the two together")
        given[_same(name)] = part
    for name in ("instruments", *(name for name in SECTIONS if name != "instruments")):
        kind, part = SECTIONS[name], given.get(name)
        if name in LISTS:
            many = enumerate(_listed(name, part, book), start=1)
            found.sections[name] = tuple(_section(f"{name} {i}", _kind_of(kind, one, i, book), one, found)
                                         for i, one in many)  # fmt: skip
        elif name in NAMED:
            found.sections[name] = {
                str(key): _section(f"{name}.{key}", kind, one, found, called=str(key))
                for key, one in _mapping(name, part, book).items()
            }
            if name == "instruments":
                _shared(found)
        else:
            found.sections[name] = _section(name, kind, _mapping(name, part, book), found)
    return found


def _shared(found: Settings) -> None:
    """The resolution of an instrument holds wherever it reads."""
    for key, one in found.sections["instruments"].items():
        for place in one.reads or READS:
            found.steps.setdefault(place, {}).update(found.steps.get(f"instruments.{key}", {}))


def _same(name: str) -> str:
    return name.strip().replace(" ", "_")


def _listed(name: str, part: Any, book: Remarks) -> list[Any]:
    many = [part] if isinstance(part, Mapping) else [] if part is None else part
    if not isinstance(many, (list, tuple)) or len(many) > MOST_PARTS:
        raise book.refusal(
            f"[{name}] is {str(part)[:40]!r}", f"up to {MOST_PARTS} sections [[{name}]]", "look at a sample run"
        )
    return list(many)


def _mapping(name: str, part: Any, book: Remarks) -> Mapping[str, Any]:
    if part is None:
        return {}
    if not isinstance(part, Mapping) or len(part) > MOST_PARTS:
        raise book.refusal(f"[{name}] is {str(part)[:40]!r}", f"a section [{name}] with keys", "look at a sample run")
    return part


def _kind_of(usual: type[Section], part: Any, place: int, book: Remarks) -> type[Section]:
    """The class of a section: of a [[gas]] the one that its kind names."""
    if usual is not SECTIONS["gas"]:
        return usual
    kind = _mapping(f"gas {place}", part, book).get("kind")
    if kind is None:
        raise book.refusal(
            "no kind is given", f"one of: {', '.join(GAS_KINDS)}", "write the kind of reading", column=f"gas {place}"
        )
    return GAS_KINDS[_word(f"{book.file}, gas {place}.kind", kind, tuple(GAS_KINDS))]


def _section(place: str, kind: type[Section], part: Any, found: Settings, *, called: str = "") -> Any:
    by_name = {about.written: about for about in fields_of(kind)}
    gas_kind = getattr(kind, "kind", None) if kind in GAS_KINDS.values() else None
    values: dict[str, Any] = {}
    part = _mapping(place, part, found.book)
    if kind is Instrument:  # its resolution is the ± of its checks
        part = dict(sorted(part.items(), key=lambda one: _same(one[0]) != "resolution"))
    for written, value in part.items():
        key = written.strip().replace("_", " ")
        about = by_name.get(key)
        if about is not None:
            called = called or str(part.get("ingredient", "ingredient"))
            if about.name in values:
                raise found.book.refusal(
                    f"{key!r} is written twice", "each key once", "delete one of them", column=place
                )
            values |= found.value(place, about, value, called)
        elif gas_kind is None or key != "kind":
            instead = unused_by(gas_kind, key) if gas_kind else ""
            unknown = f"is not known and was left out; {did_you_mean(key, by_name)}"
            found.book.note(f"the key {written[:60]!r} {instead or unknown}", column=place, level="doubt")
    return kind(**values)


def _quantity(name: str, about: Field, written: Any) -> Quantity:
    """A value in the field's unit, in the ways in which this kind of value is written."""
    words = str(written)
    if about.kind == "grams":
        words = re.sub(r"\bdry\b", "", words)
    if about.kind == "strength":
        return _strength(name, about, words)
    if about.unit == "kg/m3" and "/" not in words:
        try:
            gravity = read_quantity(words, "1", name)
        except InputError:
            return read_quantity(words, about.unit, name)
        if 0.9 <= gravity.value <= 1.5:  # specific gravity, of water at 20 °C
            times = float(water_density(20.0))
            return replace(
                gravity, value=gravity.value * times, u=gravity.u * times, resolution=gravity.resolution * times
            )
    return read_quantity(words, about.unit, name, possible=(about.low, about.high))


def _strength(name: str, about: Field, words: str) -> Quantity:
    """Alcohol by volume, by mass, or in g/L; a plain % is refused, since it could be either."""
    by_mass = re.sub(r"%\s*(mass|w/w|m/m|by mass)", "%", words)
    ways = (("% vol", "% vol", words), ("g/L", "g/L", words), *([("% mass", "%", by_mass)] if by_mass != words else []))
    for strength, unit, spelt in ways:
        try:
            quantity = read_quantity(spelt, unit, name)
        except InputError:
            continue
        times = 1.0 if strength == "% vol" else float(convert_ethanol(1.0, strength, "% vol"))
        value = float(convert_ethanol(quantity.value, strength, "% vol")) if times != 1.0 else quantity.value
        return replace(quantity, value=value, u=quantity.u * times, resolution=quantity.resolution * times)
    raise InputError(
        f"{name} is {words[:40]!r}", "'% vol' (by volume at 20 °C), '% mass' or 'g/L'",
        "write which one it is: they differ by a fifth",
    )  # fmt: skip


def _within(name: str, quantity: Quantity, about: Field) -> Quantity:
    for end in quantity.ends or (quantity.value,):
        if not about.low <= end <= min(about.high, MOST):
            ends = f"{about.low:g} to {min(about.high, MOST):g}"
            raise InputError(f"{name} is {_with_unit(end, about)}", ends, "check the value and its unit")
    return quantity


def _with_unit(value: float, about: Field) -> str:
    return f"{value:g}" if about.unit == "1" else f"{value:g} {about.unit}"


def _said(u: float, about: Field) -> str:
    if about.unit == "1" and about.high == 1.0:
        return f"{100 * u:.2g} %"
    return f"{u:.2g}" + ("" if about.unit == "1" else f" {about.unit}")


def _above_zero(name: str, u: float, about: Field, quantity: Quantity) -> float:
    """An uncertainty above zero; in place of a zero the usual one is offered."""
    if u > 0:
        return u
    usual = about.usual and about.usual.of(quantity.value, quantity.resolution, high=about.high)
    offer = f"; the usual one is {_said(usual, about)}" if usual else ""
    raise InputError(
        f"{name} has an uncertainty of zero", f"an uncertainty above zero{offer}",
        "write how far off it may be, or leave the ± out and the usual one is taken",
    )  # fmt: skip


def _flag(name: str, value: Number) -> bool:
    word = str(value).strip().lower()
    if word not in YES_NO:
        raise InputError(f"{name} is {str(value)[:30]!r}", "true or false", "write it without quotes")
    return YES_NO[word]


def _word(name: str, value: Number, words: Sequence[str]) -> str:
    if value in words:
        return str(value)
    near = nearest(str(value), words)
    way = f"did you mean {near!r}?" if near else "choose one of these"
    raise InputError(f"{name} is {str(value)[:40]!r}", f"one of: {', '.join(words)}", way)


def usual_said(found: Iterable[str], book: Remarks) -> None:
    """One finding that lists what was taken where no ± was written."""
    listed = list(found)
    if listed:
        book.note(
            f"no ± was written, so the usual one of a kitchen was taken: {', '.join(listed)}. "
            "Your own goes before it: write '240 ± 1 g'"
        )


def table_layouts(written: Mapping[str, Any]) -> dict[str, str]:
    """Tables that a run may have: name → whose columns it has. A [[gas]] may name one of its own."""
    layouts = {name: name for name in TABLES}
    routes = written.get("gas", ())
    for gas in [routes] if isinstance(routes, Mapping) else routes if isinstance(routes, list) else []:
        if isinstance(gas, Mapping) and "table" in gas:
            name = str(gas["table"])
            if not re.fullmatch(r"\w[\w -]{0,60}", name):
                raise InputError(
                    f"run.toml names the table {name[:60]!r}",
                    "a plain name without folders and without '.csv'",
                    "rename the table",
                )
            if layouts.setdefault(name, "gas") != "gas":
                raise InputError(
                    f"run.toml takes the table {name!r} for gas readings", "a table of its own", "rename the table"
                )
    return layouts


def write_toml(settings: Mapping[str, Any]) -> str:
    """Settings as the text of run.toml, which reads back as the same settings.

    Examples
    --------
    >>> print(write_toml({"vessel": {"liquid": "2.0 ± 0.1 L"}}))
    [vessel]
    liquid = "2.0 ± 0.1 L"
    """
    parts: list[str] = []
    for name, section in settings.items():
        if name in LISTS:
            parts += [f"[[{name}]]\n" + _keys(one) for one in section]
        elif name in (*NAMED, OWN_TABLES):
            parts += [f"[{name}.{_text(str(key))}]\n" + _keys(one) for key, one in section.items()]
        else:
            parts.append(f"[{toml_name(name)}]\n" + _keys(section))
    return "\n".join(parts)


def _keys(section: Mapping[str, Any]) -> str:
    return "".join(f"{toml_line(key, value)}\n" for key, value in section.items())


def toml_line(key: str, value: Number) -> str:
    """One key and its value."""
    return f"{toml_name(key)} = {_toml(value)}"


def toml_name(key: str) -> str:
    """A key, in quotes where it must be."""
    return key if key.replace("_", "").isalnum() and key.isascii() else _text(key)


def _toml(value: Number) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    return _text(str(value))


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
