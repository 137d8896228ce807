"""What is said to a class in words: plan, five questions, glossary, and the slides for the wall made of them."""

import html
import math
from collections.abc import Sequence
from typing import Final

from fermkit.basis.cautions import cautions_for
from fermkit.teach.mishaps import MEASUREMENTS

Plan = tuple[tuple[int, str, str], ...]
"""Minutes, what, who."""

PLANS: Final[dict[int, Plan]] = {
    90: (
        (5, "the jar, the equation, what ± means", "all; a jar or a picture of one in front"),
        (20, "notebook 1, *read the curve* (page: step 1)", "groups"),
        (30, "notebook 2, *close the carbon* (page: steps 2 and 3)", "groups; who is done helps the next"),
        (25, "notebook 3, *find the mistake* (page: steps 4 and 5)", "groups; sell measurements at your desk"),
        (10, "`mark` and `pool`: each group one sentence (saw, measured, settled), then the pooled picture", "all"),
    ),
    45: (
        (5, "the jar, the equation", "all"),
        (15, "step 1 of the page: the curve", "groups"),
        (15, "the sugar, the CO2 to expect, and step 4 of the page", "groups"),
        (10, "each group one sentence; `mark` afterwards", "all"),
    ),
}  # fmt: skip

FIVE: Final = (
    ("A third of the carbon of sugar leaves as CO2. How many moles of CO2 does one mole of sugar give?", "2"),
    ("A jar lost 52 g, and 40 g of CO2 were collected. What may have happened?", "gas got past the collector"),
    ("Two dilutions of one sample give 3.0 and 1.6 % vol. What do you do?", "measure once more, before any mean"),
    ("What does ± 0.03 mol beside 1.16 mol say?", "the true value is likely within about that of it"),
    ("Why must a jar that ferments never be closed?",
     "its gas has nowhere to go: pressure rises until it bursts"),
)  # fmt: skip
"""Asked before and after the lesson, with what is right."""

GLOSSARY: Final = (
    ("lag", "time until the gas sets in: where the steepest line meets the start"),
    ("exponential", "each hour brings a fixed share more than the one before"),
    ("stationary", "hardly any gas comes: the curve lies flat"),
    ("standard", "a liquid of known content, to tell what a volt means"),
    ("least squares", "the line with the smallest sum of squared misses"),
    ("dilution", "how many times a sample was thinned before it was read"),
    ("hexose", "sugar with six carbon atoms, C6H12O6; sucrose and water give two of it"),
    ("mole", "6.022 × 10^23 molecules; 44.01 g of CO2, 180.16 g of hexose"),
    ("inoculum", "the yeast that was put in"),
    ("balance", "what went in against what came out"),
    ("±", "how far the true value may well lie from the number"),
    ("z-score", "how many spreads a group's result lies from the class's mean; 2 is questionable, 3 too far"),
    ("to mend", "to put the right number beside the wrong one"),
)


def plan_table(minutes: int) -> str:
    """A plan as a table in Markdown."""
    rows = [f"| {m} | {what} | {who} |" for m, what, who in PLANS[minutes]]
    return "\n".join(["| minutes | what | who |", "|---|---|---|", *rows])


def five_list() -> str:
    """The five questions with their answers, in Markdown."""
    return "\n".join(f"{i}. {asked} ({right})" for i, (asked, right) in enumerate(FIVE, start=1))


def glossary_table() -> str:
    """The glossary in Markdown."""
    return "\n".join(["| word | what it means |", "|---|---|", *(f"| {word} | {means} |" for word, means in GLOSSARY)])


WALL: Final = """
@page{size:A4 landscape;margin:12mm}section{break-after:page;min-height:92vh}
body{font:22pt/1.35 sans-serif;margin:0 auto;max-width:262mm;padding:0 4mm;color:#1b1b1b}
h1{font-size:34pt;margin:0 0 6mm;color:#1f5f8b}h2{font-size:26pt;margin:6mm 0 2mm}p,li{margin:2mm 0}
td:first-child{white-space:nowrap}
td,th{padding:1mm 6mm 1mm 0;text-align:left;vertical-align:top}table{border-collapse:collapse}
svg{display:block;margin:auto}
.care{border-left:3mm solid #a33c00;padding:2mm 5mm;background:#f9ece4}.small{font-size:16pt}
@media print{section{min-height:0}}
"""


def slides() -> list[str]:
    """The slides, one text of HTML each: nothing on them gives a group's answer away."""
    five = "".join(f"<li>{html.escape(asked)}</li>" for asked, _ in FIVE)
    right = "".join(f"<li>{html.escape(asked)} <b>{html.escape(told)}</b></li>" for asked, told in FIVE)
    menu = "".join(f"<tr><td>{m.name}</td><td>{m.minutes} min</td></tr>" for m in MEASUREMENTS)
    words = "".join(f"<tr><td><b>{word}</b></td><td>{means}</td></tr>" for word, means in GLOSSARY)
    plan = "".join(
        f"<tr><td>{minutes} min</td><td>{html.escape(what.replace('*', '').replace('`', ''))}</td></tr>"
        for minutes, what, _ in PLANS[90]
    )
    care = "".join(f"<p class='care small'>{html.escape(s)}</p>" for s in cautions_for("closing").sentences()[:4])
    return [
        f"<h1>What happens in the jar?</h1>{_jar()}<p>Yeast eats sugar and gives off gas. Your group has "
        "the readings of thirty hours, from a jar of its own, and three questions: how much, how fast, is it all true?"
        "</p>",
        f"<h1>Five questions, before we begin</h1><ol>{five}</ol>",
        f"<h1>Today</h1><table>{plan}</table>",
        f"<h1>Read the curve</h1>{_curve()}<p>Lay a line along the steepest part. Its slope is the <b>largest "
        "rate</b>. Where it meets the start is the <b>lag</b>.</p>",
        "<h1>Count the carbon</h1><p>C<sub>6</sub>H<sub>12</sub>O<sub>6</sub> → 2 C<sub>2</sub>H<sub>5</sub>OH + "
        f"2 CO<sub>2</sub></p>{_carbon()}<p>A third of the <i>carbon</i> leaves as gas. Is that a third of a "
        "<i>mole</i>? Count the arrows.</p>",
        f"<h1>A line through the standards</h1>{_standards()}<p>From the volts go <b>across</b> to the line, then "
        "<b>down</b> to % vol; multiply by the dilution. How far the points miss the line tells your ±.</p>",
        f"<h1>Find the mistake, if there is one</h1><p>Look first. Then buy a measurement with minutes.</p>"
        f"<table>{menu}</table>",
        "<h1>Mend it</h1><p>Write the right number <b>beside</b> the first one. What you read stays as it stands: both "
        "are marked, and a mended number costs nothing.</p><h2>One sentence a group</h2><p>What we saw. "
        "What we measured. What it settled.</p>",
        "<h1>What the class found</h1><p>Open <i>pooled.html</i> here: every group's curve, and the mean that one wild "
        "result cannot move.</p><p>Who stands apart, and why? Who is right where nobody knows the truth?</p>",
        f"<h1>Never close a jar that ferments</h1>{care}",
        f"<h1>The five questions again</h1><ol class='small'>{right}</ol>",
        f"<h1>Words</h1><table class='small'>{words}</table>",
    ]  # fmt: skip


def _drawn(wide: int, tall: int, inside: str) -> str:
    return (f"<svg viewBox='0 0 {wide} {tall}' style='width:{wide}mm;max-width:95%' font-family='sans-serif' "
            f"font-size='6' fill='none' stroke='#1b1b1b' stroke-width='.8'>{inside}</svg>")  # fmt: skip


def _text(x: float, y: float, words: str, colour: str = "#1b1b1b", anchor: str = "middle") -> str:
    return f"<text x='{x}' y='{y}' text-anchor='{anchor}' fill='{colour}' stroke='none'>{words}</text>"


def _jar() -> str:
    """A jar with its airlock, the gas led over water."""
    bubbles = "".join(f"<circle cx='{42 + 9 * (i % 5)}' cy='{62 - 5 * (i % 4)}' r='1.6'/>" for i in range(9))
    return _drawn(200, 90, (
        "<rect x='30' y='28' width='60' height='54' rx='4'/><path d='M30 46h60' stroke='#c99a2e'/>"
        f"<path d='M60 28V12h55v40' stroke='#1f5f8b'/>{bubbles}"
        "<path d='M98 56v26h70v-26M98 62h70' stroke='#1f5f8b'/><path d='M110 78V30a14 6 0 0 1 28 0v48'/>"
        + _text(60, 76, "sugar, water, yeast") + _text(124, 24, "CO2", "#1f5f8b") + _text(185, 74, "water", "#1f5f8b")
    ))  # fmt: skip


def _curve() -> str:
    """A curve of gas with its steepest line and its three phases; no group's own."""
    at = [(t, 62 / (1 + math.exp(-(t - 62) / 11))) for t in range(0, 161, 4)]
    line = " ".join(f"{20 + t},{78 - y:.1f}" for t, y in at)
    foot, top = 62 - 22, 62 + 22  # the steepest line of a logistic curve: two time constants to either side
    words = [_text(40, 14, "lag"), _text(93, 14, "exponential, then steep"), _text(150, 14, "stationary")]
    return _drawn(190, 96, (
        "<path d='M20 4V78H184'/>"
        f"<polyline points='{line}' stroke='#1f5f8b' stroke-width='1.4'/>"
        f"<path d='M{20 + foot} 78L{20 + top} 16' stroke='#a33c00'/><path d='M{20 + foot} 4v74M126 4v74' "
        "stroke='#3a7d44' stroke-dasharray='2 2'/>" + "".join(words) + _text(20 + foot, 86, "lag", "#a33c00")
        + _text(178, 92, "time", anchor="end") + _text(16, 60, "gas", anchor="end")
    ))  # fmt: skip


def _carbon() -> str:
    """Six carbon atoms, and where each goes."""
    parts = []
    for i, to in enumerate((58, 58, 100, 100, 140, 172)):
        x, colour = 40 + 24 * i, "#1f5f8b" if i < 4 else "#a33c00"
        parts.append(f"<circle cx='{x}' cy='12' r='6' fill='#333'/>" + _text(x, 14.2, "C", "#fff"))
        parts.append(f"<path d='M{x} 20L{to} 46' stroke='{colour}'/>")
    told = ((58, "alcohol"), (100, "alcohol"), (140, "CO2"), (172, "CO2"))
    words = (_text(x, 54, word, "#a33c00" if x > 120 else "#1f5f8b") for x, word in told)
    return _drawn(200, 58, "".join([*parts, *words]))


def _standards() -> str:
    """Standards with their line, and a sample read back on it."""
    read = ((20 + 28 * i, 72 - 11 * i + (-1) ** i * 1.2) for i in range(6))
    points = "".join(f"<circle cx='{x}' cy='{y}' r='1.8' fill='#1f5f8b'/>" for x, y in read)
    return _drawn(190, 90, (
        f"<path d='M20 6V78H184'/><path d='M20 72L174 11.5' stroke='#a33c00'/>{points}"
        "<path d='M20 44H91.3V78' stroke='#3a7d44' stroke-dasharray='2 2'/>"
        + _text(16, 46, "volts", "#3a7d44", "end") + _text(91, 86, "read here", "#3a7d44")
        + _text(178, 86, "% vol", anchor="end")
    ))  # fmt: skip


def wall(told: Sequence[str]) -> str:
    """Slides as sections, each on a page of its own."""
    return "".join(f"<section>{one}</section>" for one in told)
