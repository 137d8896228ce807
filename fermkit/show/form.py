"""A run typed in by hand: fields made from the format, tables pasted, a run folder saved, analysed beside.

What is typed is kept as it is typed, and read by the same reader as a folder on disk: the form never has an opinion
of its own on what a number means.
"""

import asyncio
import html
import tempfile
from collections.abc import Callable, Mapping, MutableMapping
from pathlib import Path
from typing import Any, Final

import ipywidgets as W

from fermkit.basis.errors import FermkitError, InputError
from fermkit.basis.files import write_whole
from fermkit.basis.written import Page, plus_minus
from fermkit.matter.ingredients import ingredient_names
from fermkit.run.analysis import Analysis, analyse
from fermkit.run.explained import explained_toml
from fermkit.run.fields import Field, Section, fields_of
from fermkit.run.findings import Remarks
from fermkit.run.format import LISTS, NAMED, SECTIONS
from fermkit.run.records import read_run
from fermkit.run.sections_gas import GAS_KINDS
from fermkit.run.settings import Settings, read_toml, table_layouts
from fermkit.run.template import example, usual_words
from fermkit.run.writing import write_files
from fermkit.show.form_tables import FULL, LARGEST_TEXT, WIDE, Readings, Typed
from fermkit.show.panel import alone
from fermkit.show.panel_page import LOOK, numbers, refused, verdict
from fermkit.show.report import write_report

PARTS: Final[Mapping[str, tuple[str, ...]]] = {
    "What went in": ("feed", "inoculum"),
    "Vessel": ("vessel", "conditions"),
    "Gas": ("gas",),
    "Readings": (),
    "Alcohol and sugar": ("ethanol", "density", "residual_sugar"),
    "Harvest": ("harvest", "keeping"),
    "More": ("run", "yeast", "room", "dissolved_co2", "cost", "my_sums", "instruments", "ingredients"),
}
"""What stands together on one page of the form, and the sections of run.toml in it."""

NAMES: Final = {
    "feed": "Sugar and other food",
    "inoculum": "Yeast",
    "gas": "How the gas is read",
    "run": "About the run",
}
"""Headings, where the section's own name would not do."""

REST_S: Final = 1.0
"""The run is worked out when nothing was typed for so long [s]."""

STYLE: Final = """<style>
.fk-form { font-size: 15px; line-height: 1.35 }
.fk-form .fk-left { flex: 3 1 420px; min-width: 0; overflow: visible }
.fk-form .fk-right { flex: 2 1 340px; min-width: 0; overflow: visible }
.fk-form .fk-body { flex-flow: row wrap; align-items: flex-start; gap: 16px }
.fk-form .widget-html-content { line-height: 1.35 } .fk-form .fk-numbers p { font-size: 13px }
.fk-form .fk-numbers td:nth-child(2) { white-space: nowrap }
.fk-form .fk-verdict { font-weight: bold; border-left: 6px solid #0072B2; padding: 2px 0 2px 8px }
.fk-form .fk-alarm { border-left: 6px solid #D55E00; background: #FFF1E6; color: #000 }
.fk-form h4 { margin: 8px 0 2px; font-size: 16px } .fk-form p { margin: 2px 0 }
.fk-form .fk-help { font-size: 13px; color: #595959; line-height: 1.3; margin: 0 0 6px 152px }
.fk-form .fk-read { color: #00634A } .fk-form .fk-bad { color: #A33B00; font-weight: bold }
.fk-form table { border-collapse: collapse; font-size: 13px; margin: 2px 0 }
.fk-form th, .fk-form td { padding: 1px 8px 1px 0 !important; text-align: left }
.fk-form textarea { font-family: monospace; font-size: 13px }
.fk-form .widget-toggle-buttons { height: auto } .fk-form .widget-toggle-button { width: auto; font-size: 14px }
</style>"""


class Form:
    """A run, typed in.

    Parameters
    ----------
    place : str or Path
        A run folder, which is opened to go on; or where new run folders go.

    Attributes
    ----------
    typed : Typed
        What was typed and pasted so far.
    analysis : Analysis or None
        What came of it last.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     form = Form(place)
    ...     form.box("feed 1", "ingredient").value, form.box("feed 1", "amount").value = "white sugar", "150 g"
    ...     print(form.save("jar").name, form.typed.settings["feed"])
    jar [{'ingredient': 'white sugar', 'amount': '150 g'}]
    """

    def __init__(self, place: str | Path = ".") -> None:
        self.parent = Path(place)
        self.folder: Path | None = None
        self.typed = Typed()
        self.analysis: Analysis | None = None
        self._boxes: dict[tuple[str, str], Any] = {}
        self._timer: asyncio.TimerHandle | None = None
        self._name = W.Text(value="my_run", description="Name of the run", style=WIDE, layout=FULL)
        self._parts = W.ToggleButtons(options=list(PARTS), layout=W.Layout(width="auto"))
        self._parts.observe(lambda change: self.show(change["new"]), names="value")
        self._left, self._said, self._found = W.VBox(), W.HTML(), W.HTML()
        self._left.add_class("fk-left")
        right = W.VBox([self._found])
        right.add_class("fk-right")
        buttons = W.HBox(
            [
                _button("Save", lambda: self._tell(f"Saved in {self.save()}.")),
                _button("Open a run of this name", lambda: self.open(self.parent / self._name.value.strip())),
                _button("Work it out", self.work_out),
                _button("Write the report", lambda: self._tell(f"The report is in {self.report()}.")),
            ],
            layout=W.Layout(flex_flow="row wrap"),
        )
        for button in buttons.children:
            button.on_click(lambda one: self._pressed(one.do))
        body = W.HBox([self._left, right])
        body.add_class("fk-body")
        head = W.HTML(f"{LOOK}{STYLE}<h4>A run, typed in</h4>")
        self.widget = W.VBox([head, self._name, buttons, self._said, self._parts, body])
        self.widget.add_class("fk-form")
        if (self.parent / "run.toml").is_file():
            self.open(self.parent)
        else:
            self.show("What went in")
            self._found.value = verdict(Page("Say what sugar and how much: a first answer comes at once."), "")

    def __repr__(self) -> str:
        return f"<fermkit form: {self._name.value}>"

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        return dict(self.widget._repr_mimebundle_()) | {"text/plain": repr(self)}

    # what a person in Python uses

    def box(self, place: str, key: str) -> Any:
        """The field of a key, by its place such as ``"feed 1"`` or ``"vessel"``; its part is shown."""
        if (place, key) not in self._boxes:
            section = place.split(" ")[0]
            self.show(next((part for part, names in PARTS.items() if section in names), "Readings"))
        if (place, key) not in self._boxes:
            known = ", ".join(" ".join(one) for one in self._boxes)
            raise InputError(f"the form has no field {place} {key}", f"one of: {known}", "check place and key")
        return self._boxes[place, key]

    def paste(self, table: str, cells: str) -> "Form":
        """Cells of a table, as copied from a spreadsheet."""
        self.show("Readings")
        self._boxes["readings", "table"].value = table
        self._boxes["readings", "cells"].value = cells
        return self

    def open(self, folder: str | Path) -> "Form":
        """Go on with a run folder that is there."""
        place = Path(folder)
        read_run(place)
        settings = read_toml((place / "run.toml").read_bytes())
        for name in LISTS:
            if isinstance(settings.get(name), dict):
                settings[name] = [settings[name]]
        self.typed = Typed(settings)
        for path in sorted(place.iterdir()):
            data = path.read_bytes() if path.suffix.lower() in (".csv", ".xlsx") else b""
            if path.stem in table_layouts(settings) and path.suffix == ".csv" and len(data) < LARGEST_TEXT:
                self.typed.tables[path.stem] = data.decode("utf-8-sig", errors="replace")
            elif data:
                self.typed.files[path.name] = data
        self.folder, self.parent = place, place.resolve().parent
        self._name.value = place.resolve().name
        self.show("What went in")
        self._tell(f"Opened {place}.")
        self.work_out()
        return self

    def save(self, name: str = "") -> Path:
        """Save as a run folder. What was there before from this form goes into its folder ``earlier``.

        Raises
        ------
        InputError
            Where a folder of that name is there that was not opened here.
        """
        called = name or self._name.value.strip()
        if not called or Path(called).name != called:
            raise InputError(f"the name is {called!r}", "a plain name, without / or \\", "write for example my_run")
        self._name.value = called
        place = self.parent / called
        texts = self._texts()
        if self.folder is None or place.resolve() != self.folder.resolve():
            self.folder = write_files(texts, place)
            return self.folder
        changed = [one for one in texts if not (place / one).exists() or (place / one).read_bytes() != texts[one]]
        before = {one: (place / one).read_bytes() for one in changed if (place / one).exists()}
        if before:
            count = sum(1 for _ in (place / "earlier").iterdir()) if (place / "earlier").exists() else 0
            write_files(before, place / "earlier" / str(count + 1))
        for one in changed:
            write_whole(place / one, texts[one])
        return place

    def report(self) -> Path:
        """Save, and write ``report.html`` into the run's folder."""
        folder = self.save()
        self.analysis = analyse(read_run(folder))
        return Path(write_report(self.analysis, folder / "report.html"))

    def work_out(self) -> "Form":
        """Analyse what is typed so far, and show it beside the fields."""
        with tempfile.TemporaryDirectory() as place:
            called = Path(self._name.value.strip() or "run").name
            run = read_run(write_files(self._texts(), Path(place) / called))
            self.analysis = analyse(run)
        page = self.analysis.page()
        doubts = [f"{found}" for found in run.doubts]
        short = Page(self.analysis.answer, page.lines, doubts)
        whole = f"<details><summary>All that it says</summary>{page.html(4)}</details>"
        self._found.value = verdict(short, "") + numbers(short, []) + whole
        return self

    def show(self, part: str) -> "Form":
        """Turn to a part of the form."""
        self._boxes.clear()
        if self._parts.value != part:
            self._parts.value = part  # comes back here
            return self
        if part == "Readings":
            self._left.children = Readings(self.typed, self._boxes, self._changed, self._attempt).rows()
        else:
            self._left.children = [box for name in PARTS[part] for box in self._sections(name)]
        return self

    # from what is typed to files

    def _texts(self) -> dict[str, bytes]:
        """The files of the run as they would be saved."""
        texts = {"run.toml": explained_toml(self.typed.said()).encode()}
        texts |= {
            f"{name}.csv": f"{cells.rstrip()}\n".encode() for name, cells in self.typed.tables.items() if cells.strip()
        }
        return texts | self.typed.files

    def _changed(self) -> None:
        """Something was typed: work it out once nothing more comes."""
        if self._timer is not None:
            self._timer.cancel()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:  # no page: work_out is called by hand
            return
        self._timer = loop.call_later(REST_S, lambda: self._attempt(self.work_out))

    def _pressed(self, work: Callable[[], object]) -> None:
        """A button: what was said before is over. Work that waited for rest must not wipe the answer to a press."""
        self._tell("")
        self._attempt(work)

    @alone
    def _attempt(self, work: Callable[[], object]) -> None:
        """Do it; an error is shown in words, since a notebook shows none from a callback."""
        try:
            work()
        except FermkitError as error:
            self._found.value = refused(f"{error.met}. Needed: {error.needed}. To do: {error.do}.", "")
        except OSError as error:
            self._found.value = refused(f"The disk refuses: {error.strerror or error}.", "")

    def _tell(self, sentence: str) -> None:
        self._said.value = f"<p role='status' class='fk-status'>{html.escape(sentence)}</p>" if sentence else ""

    # sections of run.toml

    def _sections(self, name: str) -> list[Any]:
        """The fields of a section; of each of several, with a button for another."""
        heading = W.HTML(f"<h4>{html.escape(NAMES.get(name, name.replace('_', ' ').capitalize()))}</h4>")
        if name in LISTS:
            many: list[dict[str, Any]] = self.typed.settings.setdefault(name, [])
            if not many:
                many.append({})
            boxes = [W.VBox(self._fields(f"{name} {i}", name, one)) for i, one in enumerate(many, start=1)]
            return [heading, *boxes, self._another(name, lambda: many.append({}))]
        if name in NAMED:
            named: dict[str, dict[str, Any]] = self.typed.settings.setdefault(name, {})
            boxes = []
            for key, one in named.items():
                boxes += [W.HTML(f"<h4>{html.escape(key)}</h4>"), W.VBox(self._fields(f"{name} {key}", name, one))]
            called = W.Text(description="its name", placeholder="scale" if name == "instruments" else "my syrup")
            self._boxes[name, "its name"] = called
            add = self._another(name, lambda: named.setdefault(called.value.strip() or "mine", {}))
            return [heading, *boxes, W.HBox([called, add])]
        return [heading, *self._fields(name, name, self.typed.settings.setdefault(name, {}))]

    def _another(self, name: str, add: Callable[[], object]) -> Any:
        def added() -> None:
            add()
            self.show(self._parts.value)

        button = _button("Add another", added)
        button.on_click(lambda one: self._pressed(one.do))
        self._boxes[name, "another"] = button
        return button

    def _fields(self, place: str, name: str, keys: MutableMapping[str, Any]) -> list[Any]:
        """A row for each key that a section may have."""
        kind: type[Section] = SECTIONS[name]
        rows: list[Any] = []
        if name == "gas":
            choice = W.Dropdown(
                options=[("not read", ""), *((one, one) for one in GAS_KINDS)], value=str(keys.get("kind", "")),
                description="kind", style=WIDE, layout=FULL,
            )  # fmt: skip
            choice.observe(lambda change: self._of_kind(keys, change["new"]), names="value")
            self._boxes[place, "kind"] = choice
            rows.append(choice)
            if not keys.get("kind"):
                return rows
            kind = GAS_KINDS[keys["kind"]]
        return [*rows, *(row for about in fields_of(kind) for row in self._field(place, about, keys))]

    def _of_kind(self, keys: MutableMapping[str, Any], kind: str) -> None:
        keys["kind"] = kind
        self.show("Gas")
        self._changed()

    def _field(self, place: str, about: Field, keys: MutableMapping[str, Any]) -> list[Any]:
        """One field: label with unit, what may be said, and below it the explanation and how it was read."""
        key = about.written.replace(" ", "_")
        old = next((one for one in keys if one.replace(" ", "_") == key), key)
        value = "" if old not in keys else _as_typed(keys[old])
        label = about.written.replace("_", " ") + (f" [{about.unit}]" if about.unit not in ("1", "any") else "")
        box: Any
        if about.kind in ("word", "flag"):
            words = about.words or ("true", "false")
            options = [("not said", ""), *((word, word) for word in words)]
            box = W.Dropdown(options=options, value=value if value in words else "", description=label)
        elif about.written == "ingredient":
            box = W.Combobox(options=ingredient_names(), value=value, description=label, placeholder=example(about))
        else:
            box = W.Text(value=value, description=label, placeholder=f"such as {example(about)}")
        box.style, box.layout = WIDE, FULL
        below = W.HTML(_help(place, about, value))

        def typed(change: Mapping[str, Any]) -> None:
            text = change["new"].strip()
            if text:
                keys[old] = [one.strip() for one in text.split(" | ")] if " | " in text else text
            else:
                keys.pop(old, None)
            below.value = _help(place, about, text)
            self._changed()

        box.observe(typed, names="value")
        self._boxes[place, about.written] = box
        return [box, below]


class _Button(W.Button):  # type: ignore[misc]
    """A button that knows what it does."""

    do: Callable[[], object]


def _button(label: str, do: Callable[[], object]) -> Any:
    button = _Button(description=label, layout=W.Layout(width="auto"))
    button.do = do
    return button


def _as_typed(value: Any) -> str:
    if isinstance(value, list):
        return " | ".join(map(str, value))
    return str(value).lower() if isinstance(value, bool) else str(value)


def _help(place: str, about: Field, text: str) -> str:
    """What a field means and its usual ±; and how what was typed is read."""
    usual = usual_words(about)
    words = html.escape(about.explains + (f"; usual ± {usual}" if usual else ""))
    return f"<div class='fk-help'>{words}{_echo(place, about, text)}</div>"


def _echo(place: str, about: Field, text: str) -> str:
    if not text or about.kind in ("text", "word", "flag", "words", "resolution"):
        return ""
    written: Any = [one.strip() for one in text.split(" | ")] if " | " in text else text
    try:
        read = Settings(Remarks("the field")).value(place, about, written, "it")
    except FermkitError as error:
        said = f"{error.met}; needed: {error.needed}; {error.do}"
        return f" <span role='alert' class='fk-bad'>{html.escape(said)}</span>"
    name, value = list(read.items())[-1]
    unit = "mL" if name.endswith("_mL") and about.kind == "amount" else "" if about.unit == "1" else about.unit
    if isinstance(value, str):
        said = "kept as a kitchen measure"
    elif isinstance(value, tuple):
        said = f"read as {value[0]:g} to {value[1]:g} {unit}"
    else:
        said = f"read as {plus_minus(value, unit)}"
    return f" <span aria-live='polite' class='fk-read'>{html.escape(said.strip())}</span>"


def enter_data(place: str | Path = ".") -> Form:
    """A form in which a run is typed or pasted, saved as a run folder, and worked out beside.

    Parameters
    ----------
    place : str or Path
        Where new run folders go; or a run folder, which is opened to go on.

    Returns
    -------
    Form
    """
    return Form(place)
