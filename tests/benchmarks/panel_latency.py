"""From key to picture: how long a slider takes in a real page, and how a drag looks.

`python tests/benchmarks/panel_latency.py [PRESSES]`. Latency is the time from the key's arrival in the
page to the new picture decoded and two animation frames later (about 33 ms of it is that fixed floor).
Each panel is measured in the same page as a bare slider that writes a label, in alternating blocks, so that
a busy machine slows both: what counts is the ratio. Aims: at most 1.5 times bare (2 for the worst panel), in a
drag at least 0.6 of bare's pictures a second, no blank frame, no jump in height.
"""

import json
import runpy
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

TESTS = Path(__file__).resolve().parent.parent
PRESSES = int(sys.argv[1]) if len(sys.argv) > 1 else 24
BLOCK = 6
BARE = """import ipywidgets as W
slider, said = W.FloatSlider(value=0.5, min=0.1, max=10), W.HTML("<div class='fk-picture'>0.5</div>")
slider.observe(lambda c: said.set_trait("value", f"<div class='fk-picture'>{c['new']}</div>"), names="value")
bare = W.VBox([slider, said])
_ = bare.add_class("fk-bare")
bare"""
LISTEN = """panel => {
  window.fkTimes = []
  let start = null
  document.addEventListener('keydown', () => { start = performance.now() }, true)
  new MutationObserver(async () => {
    const image = panel.querySelector('.fk-picture')
    if (start === null || !image) return
    const began = start
    start = null
    requestAnimationFrame(() => requestAnimationFrame(() => window.fkTimes.push(performance.now() - began)))
  }).observe(panel.querySelector('.fk-picture').closest('.widget-html-content'),
    {childList: true, subtree: true, attributes: true})
}"""
ROW = "{:<44} {:>9} {:>9} {:>9} {:>10} {:>6} {:>6}"


def latencies(page, panel, presses):
    """Milliseconds from key to picture, press by press."""
    handle = panel.locator(".noUi-handle").first
    handle.scroll_into_view_if_needed()
    handle.focus()
    panel.evaluate(LISTEN)
    key = "ArrowRight"
    for press in range(presses):
        at = {end: handle.get_attribute(f"aria-value{end}") for end in ("now", "min", "max")}
        key = "ArrowLeft" if at["now"] == at["max"] else "ArrowRight" if at["now"] == at["min"] else key
        page.keyboard.press(key)
        page.wait_for_function("n => window.fkTimes.length > n", arg=press, timeout=10_000)
        page.wait_for_timeout(50)
    return page.evaluate("() => window.fkTimes")


def kernel_ms(module):
    """Median milliseconds of model and drawing, without a page."""
    panel = module["toy"]()
    panel._slow = None
    spent = []
    for step in range(30):
        start = time.perf_counter()
        panel._knobs["rate"].value = 0.5 + 0.1 * (step + 1)
        spent.append(1000 * (time.perf_counter() - start))
    return statistics.median(spent)


def main():
    """Measure the toy panel, every topic's panel, then each panel of each notebook."""
    sys.path.insert(0, str(TESTS))
    lab_page = runpy.run_path(str(TESTS / "lab_page.py"))
    toy = runpy.run_path(str(TESTS / "toy_panel.py"))
    nbs = runpy.run_path(str(TESTS / "test_browser.py"))
    print(f"model and drawing of the toy panel, in the kernel alone: {kernel_ms(toy):.0f} ms\n")
    print(ROW.format("panel", "ms", "bare ms", "ratio", "pictures/s", "bare's", "jumps"))
    with tempfile.TemporaryDirectory() as home:
        server = lab_page["Lab"](Path(home))
        toys = server.root / "toys"
        toys.mkdir(parents=True)
        for name in ("toy_panel.py", "panel_data.py"):
            shutil.copy(TESTS / name, toys)
        for name in ("TOY", "PANELS"):
            text = json.dumps(nbs["notebook"](BARE, *nbs[name]))
            (toys / f"{name.lower()}.ipynb").write_text(text, encoding="utf-8")
        with server, sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=lab_page["browser_path"](), args=lab_page["FLAGS"])
            page = server.page(browser)
            for path in ("toys/toy.ipynb", "toys/panels.ipynb"):
                server.open(page, path)
                lab_page["run_all"](page)
                panels = lab_page["panels"](page)
                bare = page.locator(".jp-NotebookPanel:not(.lm-mod-hidden) .fk-bare").first
                for panel in panels:
                    if panel.locator(".fk-picture").count() and panel.locator(".noUi-handle").count():
                        measured(lab_page, page, panel, bare)
                server.close(page)
            browser.close()


def measured(lab_page, page, panel, bare):
    """One line of the table."""
    times = {panel: [], bare: []}
    for _ in range(max(1, PRESSES // BLOCK)):
        for one, found in times.items():
            found += latencies(page, one, BLOCK)
    here, there = (statistics.median(found) for found in times.values())
    drags = [lab_page["drag"](page, one) for one in (panel, bare)]
    rates = [seen["pictures"] / seen["seconds"] for seen in drags]
    name = panel.locator("h4").first.text_content()
    print(
        ROW.format(
            name[:44], f"{here:.0f}", f"{there:.0f}", f"{here / there:.2f}",
            f"{rates[0]:.1f}", f"{rates[1]:.1f}", drags[0]["jumps"] + drags[0]["blank"],
        ),
        flush=True,
    )  # fmt: skip


if __name__ == "__main__":
    main()
