"""What one move of each panel costs the kernel: `python tests/benchmarks/panel_moves.py [MOVES]`.

CPU time, which a busy machine hardly changes: the median over moves of each panel's first slider, in all, and what
goes into the model with drawing into the axes, into writing the picture as SVG, and into the rest.
"""

import contextlib
import runpy
import statistics
import sys
import tempfile
import time
from pathlib import Path

TESTS = Path(__file__).resolve().parent.parent
ROW = "{:<44} {:>8} {:>8} {:>8} {:>8}"


def timed(work, into):
    """The same work; its CPU milliseconds are added to a list."""

    def one(*args, **values):
        start = time.process_time()
        try:
            return work(*args, **values)
        finally:
            into.append(1000 * (time.process_time() - start))

    return one


def cost(panel, moves):
    """Median CPU milliseconds of a move as the page sends it: in all, model with drawing, writing."""
    name, slider = next(iter(panel._sliders.items()))
    spent = {part: [] for part in ("all", "draw", "write")}
    panel._slow = None
    panel._draw = timed(panel._draw, spent["draw"])
    panel._lean.write = timed(panel._lean.write, spent["write"])
    move = timed(panel._slid, spent["all"])
    panel._keep = lambda: None
    panel._rest = lambda: None
    at, way = panel.values[name], 1
    for _ in range(moves):
        way = -1 if at + slider.step > slider.high else 1 if at - slider.step < slider.low else way
        at = slider.nearest_step(at + way * slider.step)
        move(name, at)
    return {part: statistics.median(found) for part, found in spent.items()}


def main():
    """Every topic's panel."""
    sys.path.insert(0, str(TESTS))
    moves = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    cells = runpy.run_path(str(TESTS / "test_browser.py"))["PANELS"]
    space = {}
    print(ROW.format("CPU of one move [ms]", "all", "model", "writing", "rest"))
    with tempfile.TemporaryDirectory() as home, contextlib.chdir(home):
        for cell in cells:
            if not cell.startswith("panels."):
                exec(cell, space)
                continue
            panel = eval(cell, space)
            if getattr(panel, "picture", None) and panel._sliders:
                found = cost(panel, moves)
                rest = found["all"] - found["draw"] - found["write"]
                print(ROW.format(panel.title, *(f"{ms:.1f}" for ms in (*found.values(), rest))), flush=True)


if __name__ == "__main__":
    main()
