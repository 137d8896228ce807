"""The house style: same bytes each time, text kept as text, nothing left behind."""

import matplotlib
import numpy as np
import pytest

import fermkit as fk
from fermkit import plots


def drawn():
    """A small picture with one line."""
    picture = plots.figure(10, 6)
    with plots.house_style():
        ax = picture.subplots()
        ax.plot(np.arange(5.0), np.arange(5.0) ** 2, label="squares")
        ax.set_xlabel("time, h")
        ax.legend()
    return picture


def test_the_same_picture_gives_the_same_bytes():
    """PNG and SVG repeat to the byte, also from a picture made anew."""
    assert plots.png(drawn()) == plots.png(drawn())
    assert plots.svg(drawn()) == plots.svg(drawn())


def test_an_svg_is_one_element_without_a_date_and_its_text_stays_text():
    """It can be put into a page as it stands, and be searched."""
    text = plots.svg(drawn())
    assert text.startswith("<svg") and text.rstrip().endswith("</svg>")
    assert "dc:date" not in text and ">time, h</text>" in text


def test_a_frozen_picture_keeps_its_layout():
    """After freezing, longer labels don't move the axes."""
    picture = plots.freeze(drawn())
    before = picture.axes[0].get_position().bounds
    picture.axes[0].set_ylabel("a much longer label\nin two lines")
    plots.png(picture)
    assert picture.axes[0].get_position().bounds == before


def test_the_style_stays_inside():
    """Asking for a picture leaves the person's own matplotlib settings alone."""
    before = dict(matplotlib.rcParams)
    plots.png(drawn())
    assert dict(matplotlib.rcParams) == before


def test_a_frozen_picture_is_drawn_once_a_save():
    """A layout engine of any kind makes matplotlib draw twice: half the speed of a slider."""
    assert plots.freeze(drawn()).get_layout_engine() is None


def test_a_notebook_shows_a_picture_without_any_switch():
    """The figure itself knows its PNG, and its text is the same each time."""
    from IPython.core.formatters import DisplayFormatter

    data, _ = DisplayFormatter().format(drawn())
    assert data["image/png"].startswith(b"\x89PNG")
    assert data["text/plain"] == "<picture, 10.0 × 6.0 cm>"


def test_wiped_axes_are_as_good_as_new():
    """Whatever was drawn, and however the axes were turned, the next picture is that of fresh axes."""
    old, new = plots.figure(10, 6), plots.figure(10, 6)
    with plots.house_style():
        used, fresh = old.subplots(), new.subplots()
        used.bar([1, 2], [3, 90], hatch="/")
        used.errorbar([5], [700], yerr=[3], label="bars")
        used.fill_between([0, 9], [0, 9])
        used.annotate("here", (3, 3))
        used.legend()
        used.invert_yaxis()
        plots.wipe(used)
        for ax in (used, fresh):
            ax.plot([0, 1, 2], [5, 6, 7])
    assert plots.png(old) == plots.png(new)


def test_a_shown_picture_carries_its_words():
    """One call draws, and what the drawing function says stays with the picture."""

    def draw(numbers, *, ax):
        ax.plot(numbers)
        return f"{len(numbers)} numbers"

    picture = plots.show(draw, [1, 3, 2], size_cm=(10, 6))
    assert picture.words == "3 numbers"
    assert repr(picture) == "<picture, 10.0 × 6.0 cm: 3 numbers>"


def test_gas_read_without_a_curve_draws_its_line_and_its_end():
    """The steepest line starts at the lag that is stated; the end is marked where the reading puts it."""
    time = np.arange(0.0, 40.0)
    caught = np.clip(time - 5, 0, 15) * 1500
    gas = fk.gas_from_volume(time, caught, temperature_C=22.0, u_increment_mL=20)
    found = fk.smooth_growth(**gas.readings)
    ax = plots.figure(16, 9).add_subplot()
    words = plots.gas_curve(gas, found, ax=ax)
    assert "99 % of it, 95 % interval" in ax.get_legend_handles_labels()[1]
    lines = [line for line in ax.get_lines() if line.get_label() == "steepest line through the readings"]
    assert lines[0].get_xdata()[0] == pytest.approx(found.lag_h.n) and "lag" in words
