"""What is handed out and printed: each group's page, the print pack, the desk where slips are sold, the key."""

import html
import json
import math
from collections.abc import Mapping, Sequence
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from fermkit.basis.cautions import cautions_for
from fermkit.basis.constants import ZERO_CELSIUS_K
from fermkit.basis.written import nominal, rounded
from fermkit.matter.composition import molar_mass
from fermkit.matter.properties import water_vapour_pressure
from fermkit.run.records import Run
from fermkit.run.sections_gas import CollectedVolume
from fermkit.teach.answers import MENDED, QUESTION, QUESTIONS, SHARED
from fermkit.teach.class_key import CARBON, SCHEME, SLIPS
from fermkit.teach.lesson import FIVE, GLOSSARY, WALL, slides, wall
from fermkit.teach.mishaps import MEASUREMENTS, MISHAP, NAMES, NONE, PRICE, RULES

if TYPE_CHECKING:
    from fermkit.run.analysis import Analysis

STORY: Final = (
    "Your jar: baker's yeast on beet molasses, with an airlock. Its gas was collected over water, its alcohol read "
    "on a sensor, its paste weighed. The batch is invented, and no other group has the same."
)
HPA_L: Final = 83.14
"""The gas constant as students use it [hPa L/(mol K)]."""


def class_pages(about: Mapping[str, Any], run: Run, analysis: "Analysis") -> tuple[str, dict[str, Any]]:
    """A group's page that opens by itself in any browser, and the same data for the print pack."""
    data = _data(about, run, analysis)
    text = json.dumps(data, ensure_ascii=False).replace("<", "\\u003c")
    page = Path(str(resources.files("fermkit"))) / "teach" / "student_page.html"
    return page.read_text(encoding="utf-8").replace("/*DATA*/null", text), data


def _data(about: Mapping[str, Any], run: Run, analysis: "Analysis") -> dict[str, Any]:
    gas, table = analysis.gas[0], run.tables["gas"]
    weights = run.tables["weights"]
    rows = [
        [row["item"], *(f"{row[name]:.2f}" if row[name] == row[name] else "" for name in ("tare_g", "wet_g", "dry_g")),
         str(row["note"])]
        for _, row in weights.iterrows()
        if row["item"] in ("paste", "paste sample")
    ]  # fmt: skip
    samples = run.tables["samples"].groupby(["sample", "time_h", "dilution"], sort=False)["signal"]
    standards = run.tables["standards"]
    return {
        "class": about["class"],
        "group": about["group"],
        "story": STORY,
        "gas": {
            "time": [float(t) for t in gas.time_h],
            "mL": [float(v) for v in table["volume_mL"]],
            "mmol": [round(float(n) * 1000, 1) for n in gas.co2_mol],
        },
        "standards": {
            "pct": [float(x) for x in standards["ethanol_pct_vol"]],
            "volts": [float(x) for x in standards["signal"]],
        },
        "samples": [
            {"sample": str(name), "time": float(time), "dilution": float(dilution), "volts": [float(v) for v in volts]}
            for (name, time, dilution), volts in samples
        ],
        "weights": rows,
        "constants": _constants(run, analysis),
        "streams": [
            ["sugar (hexose)", round(molar_mass("hexose"), 2)],
            ["alcohol", round(molar_mass("ethanol"), 2)],
            ["CO2", round(molar_mass("CO2"), 2)],
            ["dry yeast, each C atom", round(12.011 / CARBON["yeast"], 2)],
        ],
        "rules": [[RULES[of][0], f"{used:.4g}", RULES[of][2], of] for of, used in about["rules"].items()],
        "shared": about["shared"],
        "questions": [[q.name, q.unit, q.asks] for q in QUESTIONS],
        "mended": [[name, q.unit, q.asks] for name, q in MENDED.items()],
        "measurements": [[m.name, m.minutes, m.does] for m in MEASUREMENTS],
        "mistakes": [*NAMES, NONE],
        "words": [list(one) for one in GLOSSARY],
        "care": cautions_for("fermenting", "closing").sentences(),
    }  # fmt: skip


def _constants(run: Run, analysis: "Analysis") -> list[list[str]]:
    """Everything that a pocket calculator needs beside the tables."""
    molasses = run.ingredients["beet molasses"]
    collector = next(one for one in run.gas if isinstance(one, CollectedVolume))
    warm = nominal(collector.collector_temperature_C)
    bar = nominal(run.conditions.barometer_bar)
    dry = bar - float(water_vapour_pressure(warm))
    caught = 1000 * dry * float(run.tables["gas"]["volume_mL"].iloc[-1]) / 1000 / HPA_L / (warm + ZERO_CELSIUS_K)
    held = nominal(analysis.gas[0].total()) - caught
    left = run.residual_sugar.value_g_L
    solids = None if analysis.yeast is None else analysis.yeast.non_yeast_solids_g
    return [
        ["molasses", f"{nominal(run.feed[0].amount_g):.0f}", "g"],
        ["of it sucrose (342.30 g/mol)", f"{100 * nominal(molasses.sucrose):.1f}", "%"],
        ["of it invert sugar, which is hexose already", f"{100 * nominal(molasses.invert):.1f}", "%"],
        ["sugar left at the end", "0" if left is None else f"{max(nominal(left), 0):.1f}", "g/L"],
        ["liquid in the jar, all samples put back", f"{nominal(run.ledger.volume_L(0.0)):.2f}", "L"],
        ["pressure of the room", f"{1000 * bar:.0f}", "hPa"],
        ["collector", f"{warm:.0f}", "°C"],
        ["water vapour at that temperature", f"{1000 * (bar - dry):.1f}", "hPa"],
        ["CO2 still held by jar and liquid, or taken up by the water", f"{held:.3f}", "mol"],
        ["yeast put in, dry", f"{nominal(analysis.feed.inoculum_g) if analysis.feed else 0:.2f}", "g"],
        ["solids of the molasses in the paste", "?" if solids is None else f"{nominal(solids):.2f}", "g"],
        ["yeast that the samples took along: multiply dry yeast by", f"{_taken(analysis):.3f}", ""],
    ]  # fmt: skip


def _taken(analysis: "Analysis") -> float:
    if analysis.yeast is None or analysis.harvest is None:
        return 1.0
    return nominal(analysis.yeast.product_dry_g) / nominal(analysis.harvest.product_dry_g)


def teacher_pages(class_id: str, groups: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """The teacher's papers: print pack, desk, key, and the teacher's page where it is at hand."""
    out = {
        "print_pack.html": print_pack(class_id, groups),
        "desk.html": desk(class_id, groups),
        "slides.html": whole_page(f"Slides of class {class_id}", wall(slides()), WALL),
        "key.html": whole_page(f"Key of class {class_id}", key_body(groups)),
    }
    page = lesson_file("teachers_page.md")
    if page is not None:
        out["teachers_page.md"] = page.read_text(encoding="utf-8")
    return out


def _rows(rows: Sequence[Sequence[Any]], head: Sequence[str] = ()) -> str:
    top = "<tr>" + "".join(f"<th>{html.escape(h)}</th>" for h in head) + "</tr>" if head else ""
    cells = ("".join(f"<td>{html.escape(str(c))}</td>" for c in row) for row in rows)
    return "<table>" + top + "".join(f"<tr>{row}</tr>" for row in cells) + "</table>"


def _slip(name: str, found: Mapping[str, Any]) -> str:
    return f"<b>{name}</b> ({PRICE[name]} min){_rows(found['lines'])}<i>{html.escape(found['settles'])}</i>"


def desk(class_id: str, groups: Sequence[Mapping[str, Any]]) -> str:
    """The slips of every group, to be opened one by one at the teacher's desk."""
    body = ["<h1>The desk</h1><p>Open a slip when a group asks for it, and take its minutes. Keep the rest closed.</p>"]
    for one in groups:
        slips = "".join(
            f"<details><summary>{name}, {PRICE[name]} min</summary>{_slip(name, found)}</details>"
            for name, found in one["slips"].items()
        )
        body.append(f"<h2>Group {one['group']}</h2>{slips}")
    return whole_page(f"Desk of class {class_id}", "".join(body))


PRINTED: Final = """
@page{size:A4;margin:14mm}section{break-after:page}.two{columns:2}
.box{border:1px solid #333;padding:2mm 4mm;margin:3mm 0}
body{font:10.5pt/1.35 sans-serif;max-width:182mm}table{border-collapse:collapse;font-size:8.5pt}td,th{padding:.2mm 2mm;
border-bottom:.2mm solid #999;text-align:left}p{margin:1.5mm 0}h1{font-size:15pt;margin:0 0 2mm}
h2{font-size:12pt;margin:3mm 0 1mm}
.cut{border:.3mm dashed #333;padding:2.5mm 4mm;break-inside:avoid;margin:0 0 3mm}
.ans td{height:6mm;border:.2mm solid #999}.five td{height:26mm;vertical-align:top}
.five td:nth-child(2){width:55mm}.five td:nth-child(n+3){width:56mm}.two table{break-inside:avoid}
.gas{columns:4;column-gap:6mm}
"""


def print_pack(class_id: str, groups: Sequence[Mapping[str, Any]]) -> str:
    """Everything for a class on paper: data, drawn curves on squared paper, answer sheets, slips with cut lines."""
    out = []
    for one in groups:
        data, name = one["paper"], f"Group {one['group']}, class {class_id}"
        answers = [[f"{q.name} [{q.unit}]", "", "" if q.name in MENDED else "–"] for q in QUESTIONS]
        answers += [[f"{n} [{q.unit}]", "–", ""] for n, q in MENDED.items() if n not in QUESTION]
        answers += [[f"{n} [% vol]", "", "–"] for n in SHARED]
        asks = [[q.name, q.asks] for q in QUESTIONS]
        halves = [[s["sample"], f"{s['time']:g}", f"{s['dilution']:g}", "  ".join(f"{v:.3f}" for v in s["volts"])]
                  for s in data["samples"]]  # fmt: skip
        pairs = list(zip(data["standards"]["pct"], data["standards"]["volts"]))
        gas = [[f"{t:g}", f"{v:.0f}"] for t, v in zip(data["gas"]["time"], data["gas"]["mL"])]
        care = "".join(f"<li>{html.escape(s)}</li>" for s in data["care"])
        out.append(
            f"<section><h1>{name}: data</h1><p>{html.escape(data['story'])}</p><div class=box><b>Constants</b>"
            f"{_rows(data['constants'])}</div><h2>Gas over water [h, mL]</h2><div class=gas>{_rows(gas)}</div>"
            f"<h2>Alcohol</h2><div class=two>{_rows([[f'{x:.2f}', f'{y:.3f}'] for x, y in pairs], ('% vol', 'V'))}"
            f"{_rows(halves, ('sample', 'h', 'diluted', 'V'))}<p>The sample of all groups, diluted "
            f"{data['shared']['dilution']}-fold: {' and '.join(map(str, data['shared']['volts']))} V</p></div>"
            f"<h2>Weights [g]</h2>{_rows(data['weights'], ('item', 'tare', 'wet', 'dry', ''))}</section>"
        )
        known = data["standards"]
        standards = squared_paper(known["pct"], known["volts"], "alcohol [% vol]", "signal [V]", 75)
        out.append(
            f"<section><h1>{name}: curves</h1><p>Draw the line along the steepest part of the gas, and the best line "
            f"through the standards, with a ruler. Mark where the lag, the steep part and the gas end.</p>"
            f"{squared_paper(data['gas']['time'], data['gas']['mmol'], 'time [h]', 'CO2 made [mmol]', 135)}{standards}"
            "</section>"
        )
        menu = [[m[0], f"{m[1]} min", m[2]] for m in data["measurements"]]
        out.append(
            f"<section><h1>{name}: answers</h1>{_rows(asks)}<div class=ans>"
            f"{_rows(answers, ('what', 'as read, with ±', 'as mended: only what changes'))}</div>"
            f"<p>Names: {'_' * 28} &nbsp; mistake: {'_' * 16} &nbsp; settled by: {'_' * 14}</p>"
            f"<p>In our words: {'_' * 68}</p>"
            f"<h2>The first sheet was worked with</h2>{_rows(data['rules'])}<p>One of these may be wrong, or one "
            f"reading, or nothing: {', '.join(data['mistakes'])}.</p><h2>What you may still measure</h2>{_rows(menu)}"
            "</section>"
        )
        slips = "".join(f"<div class=cut>{name}: {_slip(n, found)}</div>" for n, found in one["slips"].items())
        out.append(f"<section><h1>Slips: cut, fold, sell for minutes</h1>{slips}</section>")
    questions = [[i, asked, "", ""] for i, (asked, _) in enumerate(FIVE, start=1)]
    asked = f"<div class='ans five'>{_rows(questions, ('', 'question', 'before the lesson', 'after it'))}</div>"
    out.append(f"<section><h1>Five questions: one sheet for each student</h1><p>Name: {'_' * 30}</p>{asked}</section>")
    out.append(f"<section><h1>Cautions, if jars are used</h1><ul>{care}</ul></section>" if groups else "")
    return whole_page(f"Print pack of class {class_id}", "".join(out), PRINTED)


def squared_paper(xs: Sequence[float], ys: Sequence[float], xname: str, yname: str, tall_mm: int) -> str:
    """Readings drawn on millimetre squares, 5 mm apart, as a picture that keeps its size in print."""
    wide, left, low = 160, 15, 12
    step_x, step_y = _step(max(xs), (wide - left) / 10), _step(max(ys) * 1.02, (tall_mm - low) / 10)
    across, up = int((wide - left) // 10), int((tall_mm - low) // 10)
    x0, y0 = left, tall_mm - low
    parts = []
    for i in range(2 * across + 1):
        parts.append(f"<path d='M{x0 + 5 * i} {y0}v{-10 * up}' stroke-width='{0.12 + 0.13 * (i % 2 == 0)}'/>")
    for i in range(2 * up + 1):
        parts.append(f"<path d='M{x0} {y0 - 5 * i}h{10 * across}' stroke-width='{0.12 + 0.13 * (i % 2 == 0)}'/>")
    words = [
        f"<text x='{x0 + 10 * i}' y='{y0 + 4}' text-anchor='middle'>{step_x * i:g}</text>" for i in range(across + 1)
    ]
    words += [
        f"<text x='{x0 - 1.5}' y='{y0 - 10 * i + 1}' text-anchor='end'>{step_y * i:g}</text>" for i in range(up + 1)
    ]
    words += [f"<text x='{x0 + 5 * across}' y='{y0 + 9}' text-anchor='middle'>{xname}</text>",
              f"<text transform='translate(3.5 {y0 - 5 * up}) rotate(-90)' text-anchor='middle'>{yname}</text>"]
    dots = [
        f"<circle cx='{x0 + 10 * x / step_x:.2f}' cy='{y0 - 10 * y / step_y:.2f}' r='0.7'/>" for x, y in zip(xs, ys)
    ]
    return (
        f"<svg viewBox='0 0 {wide + 6} {tall_mm}' style='width:{wide + 6}mm;height:{tall_mm}mm' font-size='3.2' "
        f"font-family='sans-serif'><g stroke='#7d9d8a' fill='none'>{''.join(parts)}</g>{''.join(words + dots)}</svg>"
    )


def _step(most: float, squares: float) -> float:
    """The least round number for each centimetre that keeps all of it on the paper."""
    raw = most / int(squares)
    ten = 10.0 ** math.floor(math.log10(raw))
    return next(k * ten for k in (1, 2, 2.5, 5, 10) if k * ten >= raw * (1 - 1e-9))


def key_body(groups: Sequence[Mapping[str, Any]]) -> str:
    """The key and the mark scheme with its reasons, for the teacher."""
    scheme = _rows(SCHEME, ("what", "points", "why"))
    out = [f"<h1>Key: keep it from students</h1><h2>Mark scheme</h2>{scheme}"]
    slips = [[slip.of, slip.says, slip.look] for slip in SLIPS]
    out.append(f"<h2>Slips that are known, worth half a point</h2>{_rows(slips, ('answer', 'slip', 'look at'))}")
    for one in groups:
        fault = one["fault"]
        out.append(f"<h2>Group {one['group']}: {fault}</h2>")
        if fault in MISHAP:
            it = MISHAP[fault]
            out.append(f"<p>In the {it.where}: {html.escape(one['says'])}. What shows it: {it.sign}. Settled by: "
                       f"{' or '.join(it.settled_by)}.</p>")  # fmt: skip
        rows = []
        for name, q in (QUESTION | MENDED).items():
            first, then = one["read"].get(name), one["mended"].get(name)
            rows.append([f"{name} [{q.unit}]", _told(first), "" if then == first else _told(then)])
        out.append(_rows(rows, ("answer", "as read", "as mended")))
        truth = ", ".join(f"{name} {value:.4g}" for name, value in one["truth"].items())
        out.append(f"<p>Shared sample, truth: {one['shared_truth']:.2f} % vol. What truly happened [g]: {truth}.</p>")
    return "".join(out)


def _told(right: Mapping[str, float] | None) -> str:
    return "" if right is None else " ± ".join(rounded(right["value"], right["tolerance"]))


def lesson_file(name: str) -> Path | None:
    """A file of the lesson, where the lesson is at hand."""
    place = _lessons()
    return place / name if place is not None and (place / name).is_file() else None


def _lessons() -> Path | None:
    package = Path(str(resources.files("fermkit")))
    places = [home / "notebooks" / "workshop" for home in (package / "copied", package.parent)]
    return next((place for place in places if place.is_dir()), None)


PRACTICE: Final = 'open_group("practice_group")'
"""How the students' notebooks, as they come with the library, open the group's folder."""


def student_notebooks() -> dict[str, str]:
    """The students' notebooks, made to open the folder that they lie in, not yet run: name → text.

    Empty where the library was installed without its notebooks.
    """
    lessons = _lessons()
    found = sorted(lessons.glob("[1-9]_*.ipynb")) if lessons is not None else []
    return {path.name: _as_handed_out(path.read_text(encoding="utf-8")) for path in found}


def _as_handed_out(text: str) -> str:
    book = json.loads(text)
    for cell in book["cells"]:
        cell["source"] = "".join(cell["source"]).replace(PRACTICE, 'open_group(".")').splitlines(keepends=True)
        if cell["cell_type"] == "code":
            cell["outputs"], cell["execution_count"] = [], None
    return json.dumps(book, indent=1, ensure_ascii=False) + "\n"


SCREEN: Final = (
    "body{font:16px/1.5 sans-serif;max-width:52em;margin:2em auto;padding:0 1em}"
    "th,td{padding:.1em .7em;text-align:left}svg{max-width:100%}"
)


def whole_page(title: str, body: str, look: str = SCREEN) -> str:
    """A piece of HTML as a page that opens by itself; the title is escaped, the body is taken as it is."""
    head = f"<meta charset='utf-8'><title>{html.escape(title)}</title><style>{look}</style>"
    return f"<!DOCTYPE html>\n<html lang='en'><head>{head}</head><body>{body}</body></html>\n"
