"""A run typed into the form in a real JupyterLab, with keys alone, from nothing to a report."""

import json
import os

import lab_page
import pytest
from playwright.sync_api import expect, sync_playwright
from test_browser import notebook

import fermkit as fk

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(
        lab_page.browser_path() is None,
        reason="NO BROWSER: that the form works in a real page WAS NOT TESTED. Install one: apt install chromium",
    ),
]

PASTE = "Datum\tUhrzeit\tGas (ml)\n" + "".join(
    f"0{2 + (18 + 2 * i) // 24}.03.2026\t{(18 + 2 * i) % 24}:00\t{volume}\n"
    for i, volume in enumerate(["0", "40,5", "160", "520", "1400", "2900", "4700", "6300", "7400", "8100", "8500"])
)


def typed(page, panel, label, text):
    """Go to a field by its label, type, and leave it with Tab."""
    box = panel.get_by_label(label, exact=True).first  # the yeast has an amount, too
    box.focus()
    page.keyboard.type(text)
    page.keyboard.press("Tab")


def pressed(page, panel, name):
    """Press a button with the keyboard."""
    panel.get_by_role("button", name=name, exact=True).focus()
    page.keyboard.press("Enter")


def part(page, panel, name):
    """Turn to a part of the form with the keyboard."""
    pressed(page, panel, name)


def test_from_nothing_to_a_report(tmp_path):
    """Sugar, water, a paste with foreign titles, save, report: no mouse, no TOML, no complaint of the page."""
    with lab_page.Lab(tmp_path / "lab") as lab, sync_playwright() as driver:
        (lab.root / "form.ipynb").write_text(json.dumps(notebook("from fermkit import panels\npanels.enter_data()")))
        browser = driver.chromium.launch(executable_path=lab_page.browser_path(), args=lab_page.FLAGS)
        page = lab.page(browser, "form.ipynb")
        lab_page.run_all(page)
        panel = page.locator(".fk-form")
        expect(panel).to_be_visible(timeout=20_000)

        typed(page, panel, "ingredient", "white sugar")
        typed(page, panel, "amount [g]", "150 g")
        expect(panel.get_by_text("read as 150.00 ± 0.75 g")).to_be_visible()
        expect(panel.locator(".fk-verdict")).to_contain_text("yeast", timeout=20_000)
        page.screenshot(path=tmp_path / "1_sugar.png")

        part(page, panel, "Vessel")
        typed(page, panel, "liquid [L]", "1,6 L")
        expect(panel.get_by_text("read as 1.600 ± 0.032 L")).to_be_visible()
        part(page, panel, "Readings")
        cells = panel.get_by_label("cells", exact=True)
        cells.focus()
        page.keyboard.insert_text(PASTE)  # what a paste does
        expect(panel.get_by_text("Understood: 11 rows.")).to_be_visible(timeout=20_000)
        expect(panel.get_by_label("volume", exact=True)).to_have_value("Gas (ml)")
        page.screenshot(path=tmp_path / "2_readings.png")

        pressed(page, panel, "Write the report")
        expect(panel.get_by_role("status")).to_contain_text("report.html", timeout=60_000)
        page.screenshot(path=tmp_path / "3_report.png")
        assert lab_page.run_errors(page) == [] and page.complaints == []
        browser.close()
        folder = lab.root / "my_run"
        run = fk.read_run(folder)
        assert run.tables["gas"]["volume_mL"].iloc[1] == 40.5 and run.tables["gas"]["time_h"].iloc[-1] == 20
        assert run.vessel.liquid_L.n == 1.6 and run.feed[0].amount == "150 g"
        assert (folder / "report.html").stat().st_size > 10_000
        assert "earlier" not in os.listdir(folder)
