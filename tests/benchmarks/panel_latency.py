"""From key to picture: how long a slider takes in a real page, and how a drag looks.

Run it on a quiet machine: `python tests/benchmarks/panel_latency.py`. Latency is the time from
the key's arrival in the page to the new picture decoded and two animation frames later (about
33 ms of it is that fixed floor). Aims: median at most 90 ms, at least 10 pictures a second in a
drag, no blank frame, no jump in height, model and drawing at most 40 ms in the kernel.
"""

import json
import runpy
import shutil
import statistics
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

TESTS = Path(__file__).resolve().parent.parent
PRESSES = 24
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
  }).observe(panel.querySelector('.fk-picture').parentElement, {childList: true, subtree: true, attributes: true})
}"""
ROW = "{:<44} {:>9} {:>9} {:>9} {:>10} {:>6} {:>6}"


def latencies(page, panel):
    """Milliseconds from key to picture, press by press."""
    handle = panel.locator(".noUi-handle").first
    handle.scroll_into_view_if_needed()
    handle.focus()
    panel.evaluate(LISTEN)
    key = "ArrowRight"
    for press in range(PRESSES):
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
    lab_page = runpy.run_path(str(TESTS / "lab_page.py"))
    toy = runpy.run_path(str(TESTS / "toy_panel.py"))
    nbs = runpy.run_path(str(TESTS / "test_browser.py"))
    print(f"model and drawing of the toy panel, in the kernel alone: {kernel_ms(toy):.0f} ms\n")
    print(ROW.format("panel", "median ms", "p95 ms", "worst ms", "pictures/s", "blank", "jumps"))
    with tempfile.TemporaryDirectory() as home:
        server = lab_page["Lab"](Path(home))
        toys = server.root / "toys"
        toys.mkdir(parents=True)
        for name in ("toy_panel.py", "panel_data.py"):
            shutil.copy(TESTS / name, toys)
        for name in ("TOY", "PANELS"):
            text = json.dumps(nbs["notebook"](*nbs[name]))
            (toys / f"{name.lower()}.ipynb").write_text(text, encoding="utf-8")
        paths = ["toys/toy.ipynb", "toys/panels.ipynb", *(f"notebooks/{name}" for name in nbs["NOTEBOOKS"])]
        with server, sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=lab_page["browser_path"](), args=lab_page["FLAGS"])
            page = server.page(browser)
            for path in paths:
                server.open(page, path)
                lab_page["run_all"](page)
                for panel in lab_page["panels"](page):
                    if not panel.locator(".fk-picture").count() or not panel.locator(".noUi-handle").count():
                        continue
                    name = f"{path.split('/')[1]}: {panel.locator('h4').first.inner_text()}"
                    times = sorted(latencies(page, panel))
                    seen = lab_page["drag"](page, panel)
                    print(
                        ROW.format(
                            name[:44],
                            f"{statistics.median(times):.0f}",
                            f"{times[int(0.95 * len(times))]:.0f}",
                            f"{times[-1]:.0f}",
                            f"{seen['pictures'] / seen['seconds']:.1f}",
                            seen["blank"],
                            seen["jumps"],
                        ),
                        flush=True,
                    )
                server.close(page)
            browser.close()


if __name__ == "__main__":
    main()
