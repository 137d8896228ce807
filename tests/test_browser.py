"""The notebooks as a person meets them: real JupyterLab, real browser, real keys.

Where no browser is installed these are skipped and say so; on Debian `apt install chromium`
is all they need.
"""

import contextlib
import json
import re
import shutil
from pathlib import Path

import lab_page
import pytest
from playwright.sync_api import TimeoutError, expect, sync_playwright
from test_contrast import ratio

from fermkit.show.controls import Choice, Slider

HERE = Path(__file__).resolve().parent
FOLDER = HERE.parent / "notebooks"
NOTEBOOKS = sorted(
    path.relative_to(FOLDER).as_posix() for path in FOLDER.rglob("*.ipynb") if ".ipynb_checkpoints" not in path.parts
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(
        lab_page.browser_path() is None,
        reason="NO BROWSER: that sliders move in a real page WAS NOT TESTED. Install one: apt install chromium",
    ),
]

TOY = ["from toy_panel import toy", "panel = toy(slow_s=1.0)\npanel", "print(panel)"]


PANELS = [
    "import panel_data\nfrom fermkit import analyse, panels, read_run",
    "analysis = analyse(read_run(panel_data.write('jar')))",
    "other = analyse(read_run(panel_data.write('pot', 12, name='pot')))",
    "panels.start(analysis)",
    "panels.growth(analysis.gas[0])",
    "panels.calibration(analysis.calibration, analysis.samples[0].readings[0])",
    "panels.balance(analysis.balance)",
    "panels.uncertainty_shares(analysis)",
    "panels.vessel(rated_bar_gauge=6)",
    "panels.plan()",
    "panels.batch_in_time()",
    "panels.drying([0, 1, 2, 3, 4, 6, 8, 10], [100, 77, 60, 48.5, 41, 34.2, 31.4, 30.3], 27.2)",
    "panels.compare([analysis, other])",
    "panels.cells()",
    "panels.feed_slowly()",
    "panels.watch('jar')",
    "panels.enter_data()",
]


def notebook(*cells):
    """A notebook of code cells, as a file holds it."""
    return {
        "cells": [
            {
                "cell_type": "code",
                "id": f"cell-{number}",
                "metadata": {},
                "execution_count": None,
                "outputs": [],
                "source": cell,
            }
            for number, cell in enumerate(cells)
        ],
        "metadata": {
            "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
            "language_info": {"name": "python"},
        },
        "nbformat": 4,
        "nbformat_minor": 5,
    }


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """One server for the whole module."""
    server = lab_page.Lab(tmp_path_factory.mktemp("lab"))
    toys = server.root / "toys"
    toys.mkdir(parents=True)
    for name in ("toy_panel.py", "panel_data.py"):
        shutil.copy(HERE / name, toys)
    for name, cells in (("toy", TOY), ("kept", TOY), ("panels", PANELS)):
        (toys / f"{name}.ipynb").write_text(json.dumps(notebook(*cells)), encoding="utf-8")
    with server:
        yield server


@pytest.fixture(scope="module")
def page(lab):
    """One browser, one page; each notebook has a tab in it."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=lab_page.browser_path(), args=lab_page.FLAGS)
        yield lab.page(browser)
        browser.close()


@pytest.fixture
def opened(lab, page, tmp_path):
    """Open a notebook and run it; afterwards there is a picture of the page, and no complaint."""

    def open_and_run(path):
        page.complaints.clear()
        page.forgiven = re.compile("(?!)")
        lab.open(page, path)
        lab_page.run_all(page)
        assert lab_page.run_errors(page) == []
        assert lab_page.unseen_pictures(page) == []
        return lab_page.panels(page)

    yield open_and_run
    page.screenshot(path=tmp_path / "at_the_end.png")
    lab.close(page)
    assert [told for told in page.complaints if not page.forgiven.search(told)] == []


def move(page, panel):
    """Move the panel's first slider by the keyboard; wait for words and picture to follow."""
    handle = panel.locator(".noUi-handle").first
    handle.scroll_into_view_if_needed()
    handle.focus()
    before = [lab_page.words(panel), lab_page.picture(panel)]
    high = handle.get_attribute("aria-valuenow") == handle.get_attribute("aria-valuemax")
    page.keyboard.press("PageDown" if high else "PageUp")
    lab_page.wait_for_change(page, panel, *before)
    expect(handle).to_be_focused()


@pytest.mark.parametrize("name", [*(f"notebooks/{name}" for name in NOTEBOOKS), "toys/panels.ipynb"])
def test_a_notebook_opens_runs_and_its_sliders_move(opened, page, name):
    """All cells run; each panel's first slider changes picture and words; the console stays clean."""
    panels = opened(name)
    taught = name.count("/") == 1  # the numbered ones have sliders; what stands in folders need not
    assert panels or not taught, "a notebook without a panel"
    for panel in panels:
        expect(panel.locator(".fk-alert")).to_have_count(0)
        if panel.locator(".noUi-handle").count():
            move(page, panel)
        expect(panel.locator(".fk-alert")).to_have_count(0)


def test_the_toy_panel_in_the_page(opened, page):
    """The pattern itself: keys, entry box with a comma, exact values, an error in words, recovery."""
    panel = opened("toys/toy.ipynb")[0]
    expect(panel.locator(".fk-words")).to_contain_text("At a rate of 0.5 per hour")
    move(page, panel)
    expect(panel.locator(".fk-words")).to_contain_text("At a rate of 1 per hour")
    expect(panel.get_by_role("textbox", name="Rate, 1/h")).to_have_value("1")
    expect(panel.locator(".fk-later")).to_contain_text("calculating")
    expect(panel.locator(".fk-later")).to_contain_text(re.compile(r"rate twice over\s*2\.000"))
    expect(panel.locator(".fk-later")).not_to_contain_text("calculating")

    box = panel.get_by_role("textbox", name="Lag, h")
    box.fill("2,25 h")
    box.press("Enter")
    expect(panel.locator(".fk-words")).to_contain_text("needs 2.25 h to start")
    expect(panel.get_by_text("read as 2.25")).to_be_visible()
    box.fill("25")
    box.press("Enter")
    expect(panel.get_by_text("Lag, h is 25; still 2.25")).to_be_visible()
    page.wait_for_timeout(400)  # the page may send the handle's own step back: not a move
    expect(panel.locator(".fk-words")).to_contain_text("needs 2.25 h to start")

    panel.locator(".noUi-handle").first.focus()
    page.keyboard.press("End")
    expect(panel.get_by_role("alert")).to_contain_text("rate is 10 1/h. Needed: a rate below 9.9 1/h")
    page.keyboard.press("PageDown")
    expect(panel.get_by_role("alert")).to_have_count(0)
    expect(panel.locator(".fk-words")).to_contain_text("At a rate of 9.5 per hour")
    alt = re.compile(r"Toy: At a rate of 9.5 per hour.*gas after a day")
    expect(panel.locator(".fk-picture")).to_have_attribute("aria-label", alt)


ROWS = """panel => [...panel.querySelectorAll('.fk-numbers tr')].map(row => {
  const cells = [...row.children].map(cell => cell.textContent); return [cells[0], cells[1], cells[2], cells[4]] })"""
SAYS = f"([panel, rows]) => JSON.stringify(({ROWS})(panel)) === rows"


def twins(folder):
    """The panels of PANELS, made here: what the page says is held against them."""
    space = {}
    with contextlib.chdir(folder):
        exec("\n".join(PANELS[:3]), space)
        return [eval(cell, space) for cell in PANELS[3:-1]]


def says_the_same(page, shown, twin):
    """Numbers and verdict in the page are those from code, or its refusal is."""
    expect(shown.locator(".fk-verdict")).to_contain_text(twin.page.heading, timeout=20_000)
    rows = json.dumps([list(line.cells()) for line in twin.page.lines], ensure_ascii=False, separators=(",", ":"))
    with contextlib.suppress(TimeoutError):
        page.wait_for_function(SAYS, arg=[shown.element_handle(), rows], timeout=10_000)
    assert shown.evaluate(ROWS) == json.loads(rows), twin.values


def test_every_control_says_in_the_page_what_it_says_from_code(opened, page, tmp_path):
    """Each slider by the keyboard, each choice by its word, one after the other: the same numbers to the digit."""
    for shown, twin in zip(opened("toys/panels.ipynb"), twins(tmp_path), strict=False):
        says_the_same(page, shown, twin)
        for name, control in [*twin._sliders.items(), *twin._inputs.items()]:
            if isinstance(control, Choice) and name != "again":
                word = next(word for word in control.words if word != twin.values[name])
                shown.get_by_label(control.label, exact=True).select_option(word.replace("_", " "))
                press(twin, name, word)
            elif isinstance(control, Slider) and not control.idle(twin.values):
                handle = shown.get_by_role("slider", name=control.label, exact=True)
                handle.focus()
                up = twin.values[name] + 5 * control.step <= control.high
                page.keyboard.press("PageUp" if up else "PageDown")
                knob = twin._knobs[name]
                press(twin, name, max(control.low, knob.value + (5 if up else -5) * control.step))
                expect(shown.get_by_label(control.label, exact=True).first).to_have_value(twin._boxes[name].value)
            says_the_same(page, shown, twin)


def press(twin, name, value):
    """The same move in the twin, as its own page would send it."""
    control = twin._inputs[name]
    twin._moved(name, control.nearest_step(value) if isinstance(control, Slider) else value)


RAIL = """handle => {
  const paint = (part, name) => getComputedStyle(part)[name]
  return [paint(handle, 'backgroundColor'), paint(handle.closest('.noUi-target'), 'backgroundColor')] }"""
FOCUSED = """() => {
  const here = document.activeElement
  return here.ariaLabel || here.labels?.[0]?.innerText || here.innerText }"""


def test_ears_and_keys_reach_everything(opened, page):
    """In the browser's accessibility tree each slider has a name and a unit, one place speaks; Tab reaches all."""
    panel = opened("toys/toy.ipynb")[0]
    move(page, panel)
    tree = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")["nodes"]
    nodes = [node for node in tree if not node["ignored"]]
    named = {role: [n["name"]["value"] for n in nodes if n["role"]["value"] == role] for role in ("slider", "image")}
    assert named["slider"] == ["Rate, 1/h", "Lag, h"]
    expect(panel.get_by_role("slider").first).to_have_attribute("aria-valuetext", "1 1/h")
    assert any(name.startswith("Toy: At a rate of 1 per hour") for name in named["image"])
    status = panel.get_by_role("status")
    expect(status).to_have_count(1)
    expect(status).to_contain_text("At a rate of 1 per hour")
    painted = panel.locator(".noUi-handle").first.evaluate(RAIL)
    for colour in (tuple(int(part) / 255 for part in re.findall(r"\d+", one)[:3]) for one in painted):
        assert ratio(colour, "white") >= 3 and ratio(colour, "#111111") >= 3
    place = status.element_handle()
    panel.get_by_label("Rate, 1/h").first.focus()
    reached = []
    for _ in range(10):
        reached.append(page.evaluate(FOCUSED))
        page.keyboard.press("Tab")
    both = ["Rate, 1/h", "Rate, 1/h", "Lag, h", "Lag, h"]
    assert reached == [*both, "Kind", "Note", "Press", "Undo", "Restart", "Large"]
    move(page, panel)
    expect(status).to_contain_text("At a rate of 1.5 per hour")
    assert place.evaluate("place => place.isConnected")


def test_a_guess_is_put_into_the_picture(opened, page):
    """Ticked, moved, clicked: the mark stands where the click was, and its number in the box; then what comes."""
    panel = opened("toys/panels.ipynb")[1]
    panel.get_by_label("guess first").check()
    handle = panel.locator(".noUi-handle").first
    handle.focus()
    page.keyboard.press("PageDown")
    expect(panel.locator(".fk-verdict")).to_contain_text("Guess first: final amount")
    first, end, low, high = map(float, panel.locator(".fk-aim").get_attribute("data-aim").split()[1:])
    svg = panel.locator("svg.fk-picture")
    svg.scroll_into_view_if_needed()
    box = svg.bounding_box()
    scale = box["height"] / float(svg.get_attribute("viewBox").split()[3])
    page.mouse.click(box["x"] + 0.5 * box["width"], box["y"] + scale * (first + 0.75 * (end - first)))
    guess = panel.get_by_role("textbox", name="My guess, mol CO2")
    expect(guess).not_to_have_value("")
    assert float(guess.input_value()) == pytest.approx(low + 0.75 * (high - low), rel=0.02)
    expect(panel.locator(".fk-mark")).to_have_count(1)
    expect(panel.locator(".fk-verdict")).to_contain_text("Guess first")
    rail = panel.get_by_role("slider", name="My guess, mol CO2")
    rail.focus()
    page.keyboard.press("PageDown")
    expect(guess).not_to_have_value(f"{low + 0.75 * (high - low):.3g}")
    panel.get_by_role("button", name="Show what comes").click()
    expect(panel.locator(".fk-status").first).to_contain_text("You guessed")
    expect(panel.locator(".fk-verdict")).to_contain_text("of the run the forecast is")


def test_the_page_never_jumps_or_blinks_in_a_drag(opened, page):
    """In two seconds of dragging, no frame without the picture, none with another height."""
    panel = opened("toys/toy.ipynb")[0]
    drag = lab_page.drag(page, panel)
    assert drag["blank"] == 0 and drag["jumps"] == 0
    assert drag["pictures"] >= 2  # how many a second is for the benchmark, on a quiet machine


def test_a_page_without_a_kernel_keeps_the_last_picture_and_verdict(lab, opened, page):
    """Moved, saved, closed, the kernel shut; opened again: what was last seen stands there, and what to press."""
    panel = opened("toys/kept.ipynb")[0]
    page.forgiven = re.compile("widget model not found|Canceled future")  # the widget itself says that it is gone
    move(page, panel)
    said = "At a rate of 1 per hour"
    kept = page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .fk-still")
    expect(kept).to_be_hidden()
    expect(kept).to_contain_text(said, timeout=10_000)
    page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save').then(() => true)")
    lab.close(page)
    lab.open(page, "toys/kept.ipynb")
    expect(kept).to_be_visible()
    expect(kept).to_contain_text(said)
    expect(kept).to_contain_text("Run All Cells")
    expect(kept.locator("img")).to_have_attribute("alt", re.compile(said))
