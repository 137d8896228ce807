"""run.toml ⇄ settings: each value read by the layout, converted once, and oddities said."""

import json
import math
import re
import tomllib
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

import numpy as np

from fermkit.basis.budget import Act
from fermkit.basis.checks import nearest
from fermkit.basis.errors import InputError
from fermkit.basis.quantities import Quantity, as_number, read_quantity
from fermkit.run.findings import Remarks
from fermkit.run.format import GAS_COLUMNS, LISTS, NAMED, SECTIONS, TABLES, Key

MOST_PARTS: Final = 200
"""Most ingredients, gas routes or replicates that one run may have."""

FILE: Final = "run.toml"


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


def read_settings(written: Mapping[str, Any], book: Remarks) -> tuple[dict[str, Any], dict[str, int]]:
    """Every value of run.toml in fermkit's units.

    Parameters
    ----------
    written : mapping
        Sections with keys, as in run.toml.
    book : Remarks
        Takes the findings.

    Returns
    -------
    (dict, dict)
        Section → values under fermkit's names; and n − 1 for each value given as replicates.
    """
    values: dict[str, Any] = {}
    dof: dict[str, int] = {}
    for name in written:
        if _same(name) not in SECTIONS:
            book.note(_unknown("section", name, SECTIONS), column=f"[{name}]", level="doubt")
    given = {_same(name): part for name, part in written.items()}
    for name, keys in SECTIONS.items():
        part = given.get(name)
        if name in LISTS:
            many = _listed(name, part, book)
            values[name] = tuple(_section(f"{name} {i}", keys, one, book, dof) for i, one in enumerate(many, start=1))
        elif name in NAMED:
            values[name] = {
                str(key): _section(f"{name}.{key}", keys, one, book, dof, called=str(key))
                for key, one in _mapping(name, part, book).items()
            }
        else:
            values[name] = _section(name, keys, _mapping(name, part, book), book, dof)
    values["gas"] = tuple(_with_column(gas, i, book) for i, gas in enumerate(values["gas"], start=1))
    return values, dof


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


def _with_column(gas: dict[str, Any], place: int, book: Remarks) -> dict[str, Any]:
    """A gas route with the column that holds its readings, and that column's unit."""
    if "kind" not in gas:
        raise book.refusal(
            "no kind is given", f"one of: {', '.join(GAS_COLUMNS)}", "write the kind of reading", column=f"gas {place}"
        )
    column, unit = GAS_COLUMNS[gas["kind"]]
    return {"table": "gas", **gas, "column": column, "unit": unit}


def _unknown(what: str, name: str, known: Collection[str]) -> str:
    near = nearest(name, known)
    hint = f"did you mean {near!r}?" if near else f"known are: {', '.join(known)}"
    return f"the {what} {name[:60]!r} is not known and was left out; {hint}"


def _section(
    place: str, keys: Sequence[Key], part: Any, book: Remarks, dof: dict[str, int], *, called: str = ""
) -> dict[str, Any]:
    by_name = {_same(key.written): key for key in keys}
    out: dict[str, Any] = {}
    for written, value in _mapping(place, part, book).items():
        key = by_name.get(_same(written))
        if key is None:
            book.note(_unknown("key", written, [k.written for k in keys]), column=place, level="doubt")
            continue
        thing = called or part.get("ingredient", "ingredient")
        act = Act(f"{place.split()[0]} {thing} {key.name}", key.act.format(ingredient=thing))
        name = f"{book.file}, {place}.{written}"
        out.update(_value(name, key, value, act, part, dof, f"{place}.{key.name}"))
    return out


def _value(
    name: str, key: Key, value: Any, act: Act, part: Mapping[str, Any], dof: dict[str, int], path: str
) -> dict[str, Any]:
    if isinstance(value, Mapping):
        raise InputError(f"{name} is a section", "a single value", "write the value in quotes, with its unit")
    if key.kind == "flag":
        return {key.name: _flag(name, value)}
    if key.kind == "text":
        return {key.name: str(value)[:2000]}
    if key.kind == "word":
        return {key.name: _word(name, value, key.words)}
    if key.kind == "words":
        many = value if isinstance(value, list) else str(value).split(",")
        return {key.name: tuple(_word(name, str(one).strip(), key.words) for one in many)}
    if key.kind in ("amount", "resolution"):
        return _amount(name, key, value, act)
    if key.kind == "reading":
        unit = GAS_COLUMNS.get(str(part.get("kind", "")), ("", "1"))[1]
        return {key.name: _within(name, read_quantity(str(value), unit, name), key).value}
    if isinstance(value, list):
        return {key.name: _replicates(name, key, value, act, dof, path)}
    quantity = _within(name, read_quantity(str(value), key.unit, name), key)
    if key.kind == "interval":
        return {key.name: quantity.ends or (quantity.value, quantity.value)}
    if key.kind == "range" and quantity.ends:
        return {key.name: quantity.ends}
    return {key.name: as_number(quantity, act)}


def _within(name: str, quantity: Quantity, key: Key) -> Quantity:
    for end in quantity.ends or (quantity.value,):
        if not key.low <= end <= key.high:
            ends = f"{key.low:g} or more" if math.isinf(key.high) else f"{key.low:g} to {key.high:g}"
            raise InputError(f"{name} is {end:g} {key.unit}".rstrip(" 1"), ends, "check the value and its unit")
    return quantity


def _flag(name: str, value: Any) -> bool:
    words = {"true": True, "yes": True, "false": False, "no": False}
    if str(value).strip().lower() not in words:
        raise InputError(f"{name} is {str(value)[:30]!r}", "true or false", "write it without quotes")
    return words[str(value).strip().lower()]


def _word(name: str, value: Any, words: Sequence[str]) -> str:
    if value in words:
        return str(value)
    near = nearest(value, words)
    raise InputError(
        f"{name} is {str(value)[:40]!r}", f"one of: {', '.join(words)}",
        f"did you mean {near!r}?" if near else "choose a word from the list",
    )  # fmt: skip


def _replicates(name: str, key: Key, value: list[Any], act: Act, dof: dict[str, int], path: str) -> Any:
    """Mean and standard error of replicates; their degrees of freedom are kept beside."""
    if not 2 <= len(value) <= MOST_PARTS:
        raise InputError(
            f"{name} is a list of {len(value)}",
            f"2 to {MOST_PARTS} replicates",
            "write a single value without brackets",
        )
    many = np.array([_within(name, read_quantity(str(one), key.unit, name), key).value for one in value])
    dof[path] = len(many) - 1
    return as_number(Quantity(float(many.mean()), float(many.std(ddof=1)) / math.sqrt(len(many))), act)


def _amount(name: str, key: Key, value: Any, act: Act) -> dict[str, Any]:
    """The text, and the number where it is a mass or a volume; of a resolution also a temperature or pressure."""
    out: dict[str, Any] = {key.name: str(value)[:200]}
    units = (("g", "g"), ("mL", "mL"), ("°C", "C"), ("bar", "bar"))
    for unit, suffix in units[: 2 if key.kind == "amount" else 4]:
        try:
            quantity = read_quantity(str(value), unit, name)
        except InputError:
            continue
        if quantity.value < 0:
            raise InputError(f"{name} is {value!r}", "an amount of zero or more", "mend the sign")
        out[f"{key.name}_{suffix}"] = as_number(quantity, act)
        break
    return out


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
        elif name in NAMED:
            parts += [f"[{name}.{_text(str(key))}]\n" + _keys(one) for key, one in section.items()]
        else:
            parts.append(f"[{_key(name)}]\n" + _keys(section))
    return "\n".join(parts)


def _keys(section: Mapping[str, Any]) -> str:
    return "".join(f"{_key(key)} = {_toml(value)}\n" for key, value in section.items())


def _key(key: str) -> str:
    return key if key.replace("_", "").isalnum() and key.isascii() else _text(key)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    return _text(str(value))


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
