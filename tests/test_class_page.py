"""A group's page in a real browser: lines dragged, standards fitted, a sample read, answers handed in and marked."""

import re
import shutil

import lab_page
import numpy as np
import pytest
from playwright.sync_api import sync_playwright

from fermkit.run.analysis import analyse
from fermkit.run.records import read_run
from fermkit.teach.answers import FILE
from fermkit.teach.class_data import HANDED_IN, read_key
from fermkit.teach.classes import make_class, mark
from fermkit.teach.lesson import slides

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(
        lab_page.browser_path() is None,
        reason="NO BROWSER: that a group's page works WAS NOT TESTED. Install one: apt install chromium",
    ),
]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A class of one group without a mistake."""
    return make_class(1, tmp_path_factory.mktemp("page") / "class", faults=("none",), secret=bytes(range(32)))


@pytest.fixture(scope="module")
def page(made):
    """Its page, opened from the disk, with whatever it complains of."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=lab_page.browser_path(), args=lab_page.FLAGS)
        page = browser.new_page(viewport={"width": 1000, "height": 900}, accept_downloads=True)
        page.complaints, page.asked = [], []
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.on("console", lambda m: page.complaints.append(m.text) if m.type == "error" else None)
        page.on("request", lambda request: page.asked.append(request.url))
        page.goto((made.folder / "group_01" / "group_01.html").as_uri())
        yield page
        browser.close()


def put(page, chart, grip, to):
    """Drag one grip of a chart with the mouse to a place in the chart's own units."""
    page.locator(f"{chart} svg").scroll_into_view_if_needed()
    circle = page.locator(f"{chart} .grip").nth(grip).bounding_box()
    where = page.evaluate(
        """([chart, to]) => { const c = window.fermkit.charts[chart], p = new DOMPoint(c.x(to[0]), c.y(to[1]))
        .matrixTransform(c.svg.getScreenCTM()); return [p.x, p.y]; }""",
        [chart, to],
    )
    page.mouse.move(circle["x"] + circle["width"] / 2, circle["y"] + circle["height"] / 2)
    page.mouse.down()
    page.mouse.move(*where, steps=4)
    page.mouse.up()


def test_the_page_asks_nothing_of_anybody(page):
    """No request but itself, no complaint, a title of its own."""
    assert page.complaints == [] and len(page.asked) == 1
    assert page.title() == "Group 01"


def test_a_dragged_line_gives_the_kits_rate_and_lag(made, page):
    """A line laid along the steepest readings says what the kit's steepest line says."""
    steep = analyse(read_run(made.folder / "group_01" / "run")).read
    rate, lag = steep.max_rate.nominal_value * 1000, steep.lag_h.nominal_value
    first = page.evaluate("window.fermkit.D.gas.mmol[0]")
    for grip, time in ((0, lag + 1), (1, steep.max_rate_at_h + 1)):
        put(page, "#gas", grip, [time, first + rate * (time - lag)])
    assert page.evaluate("window.fermkit.line.rate") == pytest.approx(rate, rel=0.02)
    assert page.evaluate("window.fermkit.line.lag") == pytest.approx(lag, abs=0.15)
    page.click("#use_line")
    assert float(page.input_value("[data-a='lag']")) == pytest.approx(lag, abs=0.15)


def test_arrow_keys_move_a_grip_too(page):
    """Whoever has no mouse moves the line by the keyboard."""
    before = page.evaluate("window.fermkit.line.rate")
    page.locator("#gas .grip").nth(1).focus()
    page.keyboard.press("ArrowUp")
    assert page.evaluate("window.fermkit.line.rate") > before
    page.keyboard.press("ArrowDown")


def test_standards_and_sample_as_the_kit_has_them(made, page):
    """The line of least squares has the kit's slope, and reads the last sample as the kit does."""
    analysis = analyse(read_run(made.folder / "group_01" / "run"))
    page.click("#best")
    table = analysis.run.tables["standards"]
    slope, start = np.polyfit(table["ethanol_pct_vol"], table["signal"], 1)
    theirs = page.evaluate("[window.fermkit.fit.slope, window.fermkit.fit.from]")
    assert theirs == pytest.approx([slope, start], rel=1e-9)
    shown = page.evaluate("window.fermkit.per")
    assert shown[-1][1] == pytest.approx(analysis.ethanol_pct_vol.nominal_value, rel=0.015)


def test_a_sample_read_by_hand_has_the_textbooks_plus_minus(made, page):
    """Volts read back on a line of least squares, with their ± (Miller, Analyst 116 (1991) 3, from memory)."""
    table = read_run(made.folder / "group_01" / "run").tables["standards"]
    x, y = table["ethanol_pct_vol"].to_numpy(), table["signal"].to_numpy()
    (slope, start), n, volts = np.polyfit(x, y, 1), len(x), 0.5
    s = np.sqrt(np.sum((y - start - slope * x) ** 2) / (n - 2))
    spread = ((x - x.mean()) ** 2).sum()
    u = s / slope * np.sqrt(1 + 1 / n + ((volts - y.mean()) / slope) ** 2 / spread)
    assert page.evaluate("window.fermkit.fit.u(0.5, 1)") == pytest.approx(u, rel=1e-9)
    assert page.evaluate("window.fermkit.fit.back(0.5)") == pytest.approx((volts - start) / slope, rel=1e-9)
    page.fill("#volts", "0,5")
    page.fill("#times", "10")
    assert f"so {(volts - start) / slope * 10:.4g}"[:7] in page.inner_text("#back_says")


def test_carbon_filled_in_by_hand_is_the_kits(made, page):
    """Grams and carbon atoms of the key's own numbers: the page's share of carbon is the kit's, two moles the most."""
    own = {name: one["value"] for name, one in read_key(made.teacher)["groups"][0]["read"].items()}
    grams = (own["sugar"], own["alcohol"], own["gas made"] * 44.01, own["yeast"])
    molars = page.evaluate("window.fermkit.D.streams.map(s => s[1])")
    for i, (g, atoms, molar) in enumerate(zip(grams, (6, 2, 1, 1), molars)):
        page.fill(f"[data-b='g{i}']", f"{g:.6g}")
        page.fill(f"[data-b='a{i}']", str(atoms))
        page.fill(f"[data-b='c{i}']", f"{g / molar * atoms:.5g}")
    page.click("#check")
    said = page.inner_text("#bal_says")
    assert said.count("the arithmetic agrees") == 4
    assert f"{own['carbon found']:.3g} % of the carbon" in said


def test_the_closed_jar_is_worked_out_and_warned_of(page):
    """A mole in a litre at 25 °C is 24.8 bar (ideal gas, R = 8.314 J/(mol K)); the cautions stand below."""
    for field, value in (("#pn", "1"), ("#pv", "1"), ("#pt", "25")):
        page.fill(field, value)
    assert "24.8 bar" in page.inner_text("#p_says")
    assert "burst" in page.inner_text("#care")


def test_answers_typed_are_saved_and_marked(made, page, tmp_path):
    """The file that the page saves is read by `mark`, which gives every point but those that are open."""
    own = read_key(made.teacher)["groups"][0]
    for name, right in own["read"].items():
        page.fill(f"[data-a='{name}']", f"{right['value']:.4g} ± {right['u']:.2g}")
    page.select_option("[data-a='mistake']", "none")
    page.check("[data-m='0']")
    page.select_option("[data-a='settled by']", "weigh the jar")
    page.fill("[data-a='in our words']", "The jar's weight\nagrees with the gas.")
    with page.expect_download() as saved:
        page.click("#save")
    place = tmp_path / "class" / HANDED_IN
    place.mkdir(parents=True)
    saved.value.save_as(place / saved.value.suggested_filename)
    marks = mark(tmp_path / "class", made.teacher).groups[0]
    assert marks.points == marks.of == 22, str(marks)
    assert marks.minutes == 10 and "agrees with the gas" in marks.words
    shutil.copy(place / saved.value.suggested_filename, made.folder / "group_01" / FILE)


def test_the_print_pack_fits_its_pages(made, page):
    """Printed by the browser: four pages for a group, one of questions, one of cautions; a slide on each page."""
    sheet = page.context.browser.new_page()
    for name, pages in (("print_pack.html", 4 + 2), ("slides.html", len(slides()))):
        sheet.goto((made.teacher / name).as_uri())
        printed = sheet.pdf(prefer_css_page_size=True)
        assert len(re.findall(rb"/Type\s*/Page\b", printed)) == pages, name
    sheet.close()


def test_what_was_typed_is_there_again(page):
    """Closed and opened anew, the page still holds the answers."""
    typed = page.input_value("[data-a='sugar']")
    page.reload()
    assert page.input_value("[data-a='sugar']") == typed != ""
    assert page.complaints == []


def test_a_phone_shows_it_without_sliding_sideways(page):
    """At 360 points across, charts and forms fit; only tables may slide."""
    page.set_viewport_size({"width": 360, "height": 740})
    assert page.evaluate("document.querySelector('#gas svg').getBoundingClientRect().right") <= 360
    assert page.evaluate("document.documentElement.scrollWidth") <= 372
    page.reload()
    heights = "[...document.querySelectorAll('svg text')].map(t => t.getBoundingClientRect().height)"
    high = page.evaluate(f"Math.min(...{heights})")
    grip = page.evaluate("document.querySelector('#gas .grip').getBoundingClientRect().width")
    wide = page.evaluate("document.querySelector('#bal').scrollWidth - document.querySelector('#bal').clientWidth")
    assert wide <= 0, "the whole balance is seen at once"
    assert high >= 11 and grip >= 20, "words that can be read, and grips that a finger finds"
