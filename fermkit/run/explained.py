"""run.toml with a word of explanation on each line, out of the format's own."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from fermkit.run.fields import Field, Section, fields_of
from fermkit.run.format import LISTS, NAMED, SECTIONS, TABLES
from fermkit.run.sections_batch import OWN_TABLES, OwnTable
from fermkit.run.sections_gas import GAS_KINDS
from fermkit.run.settings import toml_line, toml_name
from fermkit.run.template import example

HEAD: Final = """\
# What you know of this run. A line that begins with # is not read: take the # away when you have the number.
# ± is one standard uncertainty: "150 ± 1 g". Left out, the usual one of a kitchen is taken.
# Tables: numbers go below the headers. 'time [h]' counts hours from the start; dates and clock times are read, too.
# Everything else that a run may say: python -c "import fermkit; print(fermkit.run_format())"
"""

GAS_KIND: Final = Field("what is read", kind="word", written="kind")

WIDE: Final = 44
"""Where the explanations begin, if the line is shorter [characters]."""


def explained_toml(settings: Mapping[str, Any], later: Mapping[str, Sequence[str]] | None = None) -> str:
    """Settings as the text of run.toml, each line explained; keys of `later` stand behind a ``#`` with an example.

    Parameters
    ----------
    settings : mapping
        Sections and keys as in run.toml.
    later : mapping
        Section → keys that may be filled in later.

    Returns
    -------
    str

    Examples
    --------
    >>> print(explained_toml({"vessel": {"liquid": "2 L"}}).split("\\n\\n")[1])
    [vessel]
    liquid = "2 L"                              # liquid in it at the start, with everything in
    """
    open_ = {name: list(keys) for name, keys in (later or {}).items()}
    parts = [HEAD]
    for name in (*settings, *(name for name in open_ if name not in settings and name in SECTIONS)):
        for heading, where, kind, keys in _sections(name, settings.get(name, {})):
            lines = [heading, *_lines(kind, keys, open_.get(where, ()))]
            parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def _sections(name: str, part: Any) -> Iterator[tuple[str, str, Sequence[Field], Mapping[str, Any]]]:
    """Each block of a section: its heading, its place, its fields and what was written."""
    if name in LISTS:
        for one in part:
            kind: type[Section] = (
                GAS_KINDS.get(one.get("kind", ""), SECTIONS[name]) if name == "gas" else SECTIONS[name]
            )
            yield f"[[{name}]]", f"{name} {one['kind']}" if "kind" in one else name, (GAS_KIND, *fields_of(kind)), one
    elif name in (*NAMED, OWN_TABLES):
        for key, one in part.items():
            fields = (
                fields_of(OwnTable) + TABLES.get(key, TABLES["gas"])
                if name == OWN_TABLES
                else fields_of(SECTIONS[name])
            )
            yield f"[{name}.{toml_name(key)}]", f"{name}.{key}", fields, one
    else:
        yield f"[{name}]", name, fields_of(SECTIONS[name]) if name in SECTIONS else (), part


def _lines(fields: Sequence[Field], keys: Mapping[str, Any], later: Sequence[str]) -> list[str]:
    by_name = {one.written: one for one in fields}
    later = [key for key in later if key not in keys]
    out = [_with(toml_line(key, value), by_name.get(key.replace("_", " ").strip())) for key, value in keys.items()]
    for key in later:
        about = by_name.get(key.replace("_", " "))
        out.append(_with(f"# {toml_line(key.replace(' ', '_'), example(about) if about else '?')}", about))
    return out


def _with(line: str, about: Field | None) -> str:
    if about is None:
        unit = line.split("=")[0].rstrip().endswith("_unit")
        return f"{line:<{WIDE - 1}} # its unit, which the title does not say" if unit else line
    words = f": {', '.join(about.words)}" if about.words else ""
    return f"{line:<{WIDE - 1}} # {about.explains}{words}"
