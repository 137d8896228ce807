"""Rows of a table put in order, and what looks odd about them said: nothing is invented or smoothed."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fermkit.basis.checks import Floats
from fermkit.basis.written import Frame
from fermkit.run.findings import Remarks, rows_in_words
from fermkit.run.format import Column

WIDE_GAP: Final = 3.0
"""A gap is told when it is this many times the usual step (common practice, no source)."""
FAR_TIMES: Final = 5.0
FAR_H: Final = 200.0
"""A lone time out of order is a slip when it lies this many lengths of the run, and so many hours, away (common
practice, no source)."""

SPIKE: Final = 12.0
"""A reading is told as out of line at this many times the usual roughness (common practice, no source)."""


def in_order(frame: Frame, columns: Sequence[Column], book: Remarks) -> Any:
    """The frame without empty rows, in order of time, one row a moment; and what was odd about it.

    Parameters
    ----------
    frame : DataFrame
        As read, with the file's row numbers in ``row``.
    columns : sequence of Column
    book : Remarks
        Takes the findings.
    """
    numeric = [c.name for c in columns if c.name in frame and c.kind == "number"]
    for column in columns:
        if column.name in numeric:
            _possible(frame, column, book)
            _always(frame, column, book)
    frame = _without_empty(frame, numeric, book)
    timed = [column for column in columns if column.kind == "time" and column.name in frame]
    if timed and len(frame) and (timed[0].always or frame["time_h"].notna().all()):
        frame = _by_time(frame, book)
    return frame.reset_index(drop=True)


def _possible(frame: Frame, column: Column, book: Remarks) -> None:
    if not np.isfinite([column.low, column.high]).any():
        return
    values = frame[column.name].to_numpy()
    bad = (values < column.low) | (values > column.high)
    if bad.any():
        rows, first = frame["row"].to_numpy()[bad], values[bad][0]
        ends = [
            f"{word} {end:g}" for word, end in (("at least", column.low), ("at most", column.high)) if np.isfinite(end)
        ]
        book.note(
            f"{column.name} of {first:g} is not possible ({', '.join(ends)}); left out: rows {rows_in_words(rows)}",
            row=int(rows[0]), column=column.written, level="doubt",
        )  # fmt: skip
        frame[column.name] = np.where(bad, np.nan, values)


def _always(frame: Frame, column: Column, book: Remarks) -> None:
    gone = frame[column.name].isna().to_numpy() if column.always else np.zeros(0, dtype=bool)
    if gone.any():
        raise book.refusal(
            f"no {column.written} is given", f"a {column.written} in each row", "fill it in, or strike the row",
            row=int(frame["row"].to_numpy()[gone][0]), column=column.written,
        )  # fmt: skip


def _without_empty(frame: Frame, numeric: list[str], book: Remarks) -> Any:
    if not numeric:
        return frame
    values = [frame[name].to_numpy() for name in numeric]
    empty = np.logical_and.reduce([np.isnan(v) for v in values])
    if empty.any():
        rows = frame["row"].to_numpy()[empty]
        book.note(
            f"{len(rows)} {'row' if len(rows) == 1 else 'rows'} without a reading left out: {rows_in_words(rows)}"
        )
        frame = frame[~empty]
    return frame


def _by_time(frame: Frame, book: Remarks) -> Any:
    lost = np.isnan(frame["time_h"].to_numpy())
    if lost.all():
        return frame
    if lost.any():
        rows = frame["row"].to_numpy()[lost]
        book.note(f"{len(rows)} rows without a time left out: {rows_in_words(rows)}", column="time", level="doubt")
        frame = frame[~lost]
    frame = _without_wild_time(frame, book)
    back = np.flatnonzero(np.diff(frame["time_h"].to_numpy()) < 0)
    if back.size:
        rows = frame["row"].to_numpy()[back + 1]
        book.note(
            f"the time goes back at row {rows_in_words(rows)}; the rows were sorted by time",
            row=int(rows[0]), column="time", level="doubt",
        )  # fmt: skip
        frame = frame.iloc[np.argsort(frame["time_h"].to_numpy(), kind="stable")]
    return frame


def _without_wild_time(frame: Frame, book: Remarks) -> Any:
    """One row whose time is far from all others, as of a wrong month or a lost minus, is left out and not sorted in."""
    time = frame["time_h"].to_numpy()
    for i in np.flatnonzero(np.diff(time) < 0):
        for at in (i, i + 1):
            others = np.delete(time, at)
            if len(others) < 3 or (np.diff(others) < 0).any():
                continue
            span, far = np.ptp(others), max(others.min() - time[at], time[at] - others.max())
            negative = time[at] < 0 <= others.min()
            if far > max(FAR_TIMES * span, FAR_H) or negative:
                row = int(frame["row"].to_numpy()[at])
                book.note(
                    f"the time of this row ({time[at]:.4g} h) is far from all others; the row was left out",
                    row=row, column="time", level="doubt",
                )  # fmt: skip
                return frame[np.arange(len(time)) != at]
    return frame


def _left_out(rows: Sequence[int]) -> str:
    one = len(rows) == 1
    return f"{len(rows)} repeated row{'' if one else 's'} left out ({'row' if one else 'rows'} {rows_in_words(rows)})"


def one_row_a_moment(frame: Frame, book: Remarks) -> Any:
    """Rows of the same time made one: a repeated row is dropped, differing readings are averaged."""
    time = frame["time_h"].to_numpy()
    if not (np.diff(time) == 0).any():
        return frame
    values = [name for name in frame.columns if name != "row" and frame[name].dtype == float]
    same = frame.duplicated(values, keep="first").to_numpy() & np.concatenate([[False], np.diff(time) == 0])
    if same.any():
        rows = frame["row"].to_numpy()[same]
        book.note(_left_out(rows))
        frame = frame[~same]
    time = frame["time_h"].to_numpy()
    twice = np.flatnonzero(np.diff(time) == 0)
    if twice.size:
        rows = frame["row"].to_numpy()[twice + 1]
        book.note(
            f"{len(rows)} times have more than one reading; their mean was taken: rows {rows_in_words(rows)}",
            row=int(rows[0]), column="time", level="doubt",
        )  # fmt: skip
        how = {name: ("mean" if name in values else "first") for name in frame.columns if name != "time_h"}
        frame = frame.groupby("time_h", sort=True, as_index=False).agg(how)[list(frame.columns)]
    return frame.reset_index(drop=True)


def odd_readings(frame: Frame, name: str, book: Remarks, *, cumulative: bool = False) -> None:
    """Say where readings through time have gaps, spikes or a start above zero."""
    gone = frame[name].isna().to_numpy()
    if gone.any() and not _other_readings(frame, name, gone):
        book.note(f"{int(gone.sum())} rows have no {name}: {rows_in_words(frame['row'].to_numpy()[gone].tolist())}")
    kept = frame[~gone] if gone.any() else frame
    time, value, rows = (kept[key].to_numpy() for key in ("time_h", name, "row"))
    if len(time) < 4:
        if cumulative:
            book.note(f"only {len(time)} readings of {name}: too few for a curve", level="doubt")
        return
    step = np.diff(time)
    usual = float(np.median(step))
    wide = np.flatnonzero(step > WIDE_GAP * usual)
    if wide.size:
        longest = int(wide[np.argmax(step[wide])])
        book.note(
            f"{wide.size} {'gap is' if wide.size == 1 else 'gaps are'} longer than {WIDE_GAP:g} times the usual step "
            f"of {usual:.3g} h; the longest is {step[longest]:.3g} h, from {time[longest]:.4g} h",
            row=int(rows[longest + 1]),
        )  # fmt: skip
    if cumulative and abs(value[0]) > 0.01 * np.ptp(value):
        book.note(f"{name} starts at {value[0]:g}, not at zero", row=int(rows[0]))
    _spikes(time, value, rows, name, book)


def _other_readings(frame: Frame, name: str, gone: NDArray[np.bool_]) -> bool:
    """Whether the rows without `name` hold readings of another kind: two logs in one table."""
    kinds = ("volume_mL", "flow_mL_h", "bubbles", "weight_g", "pressure_bar_gauge", "co2_ppm")
    others = [frame[kind].notna().to_numpy() for kind in kinds if kind in frame and kind != name]
    return bool(others) and bool(np.logical_or.reduce(others)[gone].all())


def _spikes(time: Floats, value: Floats, rows: NDArray[np.int64], name: str, book: Remarks) -> None:
    middle = value[:-2] + (value[2:] - value[:-2]) * (time[1:-1] - time[:-2]) / (time[2:] - time[:-2])
    off = value[1:-1] - middle
    usual = float(np.median(np.abs(off)))
    alone = np.abs(off) > max(SPIKE * usual, 0.05 * float(np.ptp(value)))
    alone &= np.abs(off) >= 1.5 * np.maximum(np.abs(np.append(off[1:], 0.0)), np.abs(np.insert(off[:-1], 0, 0.0)))
    if alone.any():
        where = np.array([_to_blame(time, value, int(i)) for i in np.flatnonzero(alone) + 1])
        book.note(
            f"{name} of {value[where[0]]:g} stands out of line with its neighbours "
            f"(rows {rows_in_words(rows[where].tolist())}); kept",
            row=int(rows[where[0]]), level="doubt",
        )  # fmt: skip


def _to_blame(time: Floats, value: Floats, i: int) -> int:
    """The row that slipped: beside the first or last one it may be that one, where the others lie on a line."""
    for end, others in ((0, (i + 1, i + 2)), (len(time) - 1, (i - 2, i - 1))):
        if abs(end - i) == 1 and others[0] >= 0 and others[1] < len(time):
            a, b = others
            on = value[a] + (value[b] - value[a]) * (time[i] - time[a]) / (time[b] - time[a])
            off = abs(value[i] - value[end])
            if abs(value[i] - on) < 0.2 * off:
                return end
    return i


FEWEST_STANDARDS: Final = 4
"""Levels besides the doubtful one that a line is drawn through."""
APART: Final = 3.0
"""Levels further apart than this are a series of tenfold steps, in which a slip cannot be told [-]."""
OF_TEN: Final = 0.2
"""How near a power of ten, in its decimal logarithm, the slip of a decimal point is."""


def odd_standards(frame: Frame, book: Remarks) -> None:
    """Say which standard is written ten times too large or too small, by the line through all others.

    Blanks and series in tenfold steps are left alone.
    """
    level, signal, rows = (frame[name].to_numpy(float) for name in ("ethanol_pct_vol", "signal", "row"))
    there = np.isfinite(level) & np.isfinite(signal)
    level, signal, rows = level[there], signal[there], rows[there]
    for one in np.unique(level[level > 0]):
        others = level != one
        steps = np.unique(level[others & (level > 0)])
        if steps.size < FEWEST_STANDARDS or (steps[1:] / steps[:-1]).max() > APART or not np.ptp(signal[others]) > 0:
            continue
        reads = float(np.mean(signal[~others]))
        likely = float(np.polyval(np.polyfit(signal[others], level[others], 1), reads))
        times = np.log10(one / likely) if likely > 0 else 0.0
        out_of_line = abs(one - likely) > 0.3 * np.ptp(level[others])
        if out_of_line and round(times) != 0 and abs(times - round(times)) < OF_TEN:
            book.note(
                f"a standard of {one:g} % vol reads {reads:.3g}, and by the other standards it is about {likely:.2g} "
                f"% vol: a decimal point? (rows {rows_in_words([int(row) for row in rows[~others]])})",
                row=int(rows[~others][0]), column="ethanol", level="doubt",
            )  # fmt: skip
