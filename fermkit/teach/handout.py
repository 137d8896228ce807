"""What is handed out and printed: the sheet of a group, its hand-out, the teacher's envelopes on paper."""

import html
import json
from collections.abc import Mapping, Sequence
from importlib import resources
from pathlib import Path
from typing import Any, Final

from fermkit.basis.cautions import cautions_for
from fermkit.teach.answers import QUESTIONS
from fermkit.teach.mishaps import MEASUREMENTS, MISHAP, NAMES, NONE, WRONG_NAME_MIN

SHEET_ROWS: Final = ("sugar as hexose", "ethanol made", "CO2 to expect", "CO2 made", "yeast made")
HOW: Final = {
    "sugar as hexose": "from the weight of the feed and its analysis, as hexose",
    "ethanol made": "from % vol of the last sample and the volume, as grams",
    "CO2 to expect": "from the sugar, if all of it were fermented",
    "CO2 made": "from the gas collected and what the liquid holds",
    "yeast made": "from the paste and its dried sample, without the inoculum",
}


def sheet_csv(sheet: Mapping[str, float]) -> str:
    """The sheet that somebody of the group worked out by hand."""
    lines = [f"{row},{sheet[row]:.4g},{HOW[row].replace(',', ';')}" for row in SHEET_ROWS if row in sheet]
    return "\n".join(["what,grams,how", *lines, ""])


def hand_out(group: str, class_id: str, sheet: Mapping[str, float]) -> str:
    """A group's page: the story, its sheet, what is asked, what it may still measure."""
    rows = [f"| {row} | {sheet[row]:.4g} | {HOW[row]} |" for row in SHEET_ROWS if row in sheet]
    asked = [f"| {q.name} | {q.unit} | {q.asks} |" for q in QUESTIONS]
    menu = [f"| {item.name} | {item.minutes} | {item.does} |" for item in MEASUREMENTS]
    care = [f"- {sentence}" for sentence in cautions_for("fermenting").sentences()]
    return "\n".join(
        [
            f"# Group {group}",
            "",
            f"Class {class_id}. The batch is invented: baker's yeast on beet molasses in a 3 L jar with an airlock.",
            "",
            "Your folder `run` holds what was read: gas over water, alcohol on a sensor against standards, ",
            "the paste on a scale.",
            "Somebody of your group has worked out a first sheet. It, or the readings, may hold one mistake. Or none.",
            "",
            "## The sheet",
            "",
            "| what | grams | how |",
            "|---|---|---|",
            *rows,
            "",
            "## What is asked",
            "",
            "Write the answers into `answers.txt`, or let the notebooks do it.",
            "",
            "| answer | unit | what it is |",
            "|---|---|---|",
            *asked,
            "| fault | a name from below | what went wrong |",
            "| settled by | a measurement from below | what shows it |",
            "",
            "## The mistakes it may be",
            "",
            ", ".join((*NAMES, NONE)) + ".",
            "",
            "## What you may still measure",
            "",
            f"Each costs minutes; so does a wrong name ({WRONG_NAME_MIN} min).",
            "Who names the fault with the fewest minutes has planned best.",
            "",
            "| measurement | minutes | what is done |",
            "|---|---|---|",
            *menu,
            "",
            "## The shared sample",
            "",
            "`check_sample.csv` holds your two readings of a sample that every group was given (dilution as stated). ",
            "Read it back on your standards; the class's results are pooled at the end.",
            "",
            "## If you ever do it for real",
            "",
            *care,
            "",
        ]
    )


def on_paper(groups: Sequence[Mapping[str, Any]]) -> str:
    """Every group's envelopes, to print and cut where laptops are locked."""
    out = ["# Envelopes, to print, cut and fold", "", "One slip for each measurement; sell it for its minutes.", ""]
    minutes = {item.name: item.minutes for item in MEASUREMENTS}
    for group in groups:
        out += [f"## Group {group['group']}", ""]
        for name, found in group["envelopes"].items():
            lines = "; ".join(f"{what}: {value} {unit}".strip() for what, value, unit in found["lines"])
            out += [f"- **{name}** ({minutes[name]} min): {lines}. *{found['settles']}*"]
        out.append("")
    return "\n".join(out)


def key_on_paper(groups: Sequence[Mapping[str, Any]]) -> str:
    """The key as a page for the teacher: fault, sign, what settles it, the answers that the readings give."""
    out = ["# Key: keep it from students", "", "± is the half-width within which an answer counts as right.", ""]
    for group in groups:
        fault = group["fault"]
        out += [f"## Group {group['group']}: {fault}", ""]
        if fault in MISHAP:
            one = MISHAP[fault]
            out += [
                f"In the {one.where}: {group['says']}. What shows it: {one.sign}.",
                f"Settled by: {', '.join(one.settled_by)}.",
                "",
            ]
        out += ["| answer | right | ± | unit |", "|---|---|---|---|"]
        for q in QUESTIONS:
            if (right := group["right"].get(q.name)) is not None:
                out.append(f"| {q.name} | {right['value']:.4g} | {right['tolerance']:.2g} | {q.unit} |")
        out += [
            "",
            "What truly happened [g]: "
            + ", ".join(f"{name} {value:.4g}" for name, value in group["truth"].items())
            + ".",
            "",
        ]
    return "\n".join(out)


PRACTICE: Final = 'open_group("practice_group")'
"""How the students' notebooks, as they come with the library, open the group's folder."""


def student_notebooks() -> dict[str, str]:
    """The students' notebooks, made to open the folder that they lie in, not yet run: name → text.

    Empty where the library was installed without its notebooks.
    """
    package = Path(str(resources.files("fermkit")))
    places = [home / "notebooks" / "workshop" for home in (package / "copied", package.parent)]
    lessons = next((place for place in places if place.is_dir()), None)
    found = (
        {}
        if lessons is None
        else {path.name: path.read_text(encoding="utf-8") for path in lessons.glob("[1-9]_*.ipynb")}
    )
    return {name: _as_handed_out(found[name]) for name in sorted(found)}


def _as_handed_out(text: str) -> str:
    book = json.loads(text)
    for cell in book["cells"]:
        cell["source"] = "".join(cell["source"]).replace(PRACTICE, 'open_group(".")').splitlines(keepends=True)
        if cell["cell_type"] == "code":
            cell["outputs"], cell["execution_count"] = [], None
    return json.dumps(book, indent=1, ensure_ascii=False) + "\n"


def whole_page(title: str, body: str) -> str:
    """A piece of HTML as a page that opens by itself; the title is escaped, the body is taken as it is."""
    look = "body{font:16px/1.5 sans-serif;max-width:52em;margin:2em auto;padding:0 1em}"
    look += "th,td{padding:.1em .7em}svg{max-width:100%}"
    head = f"<meta charset='utf-8'><title>{html.escape(title)}</title><style>{look}</style>"
    return f"<!DOCTYPE html>\n<html lang='en'><head>{head}</head><body>{body}</body></html>\n"
