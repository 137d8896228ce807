"""Pictures of yeast: in time beside the gas, under a counting grid, and fed by a schedule."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fermkit.basis.written import nominal, plus_minus, uncertainty
from fermkit.batch.feeding import STEP_H, Feeding
from fermkit.gas.curve import GasCurve
from fermkit.run.yeast_seen import Way, YeastCourse
from fermkit.show.style import COLOURS, legend

MARKERS: Final = {Way.COUNTED: "o", Way.CLOUDY: "s"}


def yeast_course(found: YeastCourse, gas: GasCurve | None = None, *, ax: Any) -> str:
    """Yeast by each way, as a share of its highest reading, beside the share of the gas."""
    said = []
    for way, marker in MARKERS.items():
        those = [one for one in found.seen if one.way is way]
        if not those:
            continue
        most = max(nominal(one.seen) for one in those)
        time, level = [one.time_h for one in those], [nominal(one.seen) / most for one in those]
        u = [1.96 * uncertainty(one.seen) / most for one in those]
        ax.errorbar(time, level, yerr=u, fmt=marker + "-", color=COLOURS["blue"], mfc="white", label=f"yeast by {way}")
        said.append(f"yeast by {way} rises from {100 * level[0]:.0f} % of its most at {time[0]:.3g} h to it at "
                    f"{time[int(np.argmax(level))]:.3g} h")  # fmt: skip
    if gas is not None:
        ax.plot(gas.time_h, gas.co2_mol / gas.co2_mol[-1], color=COLOURS["orange"], label="gas that has come")
        half = float(np.interp(0.5, gas.co2_mol / gas.co2_mol[-1], gas.time_h))
        said.append(f"half of the gas has come by {half:.3g} h")
    ax.set(xlabel="time [h]", ylabel="share of the most", ylim=(0, None))
    legend(ax, "lower right")
    return "; ".join(said)


def counting_grid(counts: NDArray[np.int64], dead: NDArray[np.int64], seed: int = 1, *, ax: Any) -> str:
    """Cells in the squares of a counting grid: rings are alive, filled ones took the stain. Invented places."""
    rows, columns = counts.shape
    rng = np.random.default_rng(seed)
    row, column = np.repeat(np.indices(counts.shape).reshape(2, -1), counts.ravel(), axis=1)
    within = rng.uniform(0.06, 0.94, (2, row.size))
    x, y = column + within[0], rows - 1 - row + within[1]
    number = np.arange(row.size) - np.repeat(np.cumsum(counts.ravel()) - counts.ravel(), counts.ravel())
    stained = number < np.repeat(dead.ravel(), counts.ravel())
    ax.plot(x[~stained], y[~stained], "o", mfc="none", mec="black", markersize=4)
    ax.plot(x[stained], y[stained], "o", color=COLOURS["blue"], markersize=4)
    ax.set(xlim=(0, columns), ylim=(0, rows), xticks=range(columns + 1), yticks=range(rows + 1), aspect="equal")
    ax.tick_params(labelbottom=False, labelleft=False)
    ax.grid(True, color="#888888", linewidth=0.8)
    return (
        f"{int(counts.sum())} cells in {rows * columns} squares, {int(dead.sum())} of them stained; "
        f"the fullest square holds {int(counts.max())}, the emptiest {int(counts.min())}"
    )


def _round_up(value: float) -> float:
    """The next of 1, 1.5, 2, 3, 5 and 7 times a power of ten: axes that seldom change are quick to draw."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(power * next((step for step in (1, 1.5, 2, 3, 5, 7) if step * power >= value), 10))


def feeding(plan: Feeding, *, ax: Any) -> str:
    """The rate of the feed in its steps, and the ceiling of the air."""
    start = np.array([row[0] for row in plan.rows])
    rate = np.array([row[1] for row in plan.rows])
    ax.step([*start, plan.hours], [*rate, rate[-1]], where="post", color=COLOURS["blue"], label="to be fed")
    ax.axhline(plan.ceiling_g_per_h, color=COLOURS["vermilion"], linestyle=(0, (5, 2)), label="what the air respires")
    ax.set(xlabel="time [h]", ylabel="sugar, as hexose [g/h]", xlim=(0, _round_up(plan.hours)),
           ylim=(0, _round_up(1.05 * max(rate.max(), plan.ceiling_g_per_h))))  # fmt: skip
    legend(ax, "lower right")
    return (
        f"the feed begins at {rate[0]:.2g} g/h and rises in steps of {STEP_H:g} h to {rate.max():.2g} g/h; the air "
        f"respires {plus_minus(plan.ceiling_g_per_h)} g/h"
    )
