"""The house style: same bytes each time, text kept as text, nothing left behind."""

from concurrent.futures import ThreadPoolExecutor

import matplotlib
import numpy as np
import pytest

import fermkit as fk
from fermkit.show import plots


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
    """A person's own settings neither show in our pictures nor are changed by them, from eight threads too."""
    plain = plots.png(drawn())
    with matplotlib.rc_context({"figure.facecolor": "black", "text.color": "white", "text.usetex": True}):
        before = dict(matplotlib.rcParams)
        with ThreadPoolExecutor(8) as pool:
            made = set(pool.map(lambda _: plots.png(drawn()), range(16)))
        assert dict(matplotlib.rcParams) == before
    assert made == {plain}


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


def axes():
    """One empty pair of axes."""
    return plots.figure(14, 8).add_subplot()


def test_calibration_pictures_show_every_standard_and_dilution():
    """Residuals in standard deviations in their band, and the dilutions of one sample with what they say together."""
    x = np.repeat([0.0, 0.2, 0.4, 0.6, 0.8, 1.0], 2)
    line = fk.fit_calibration(x, 0.05 + 0.8 * x + 0.004 * np.cos(9 * np.arange(12)))
    ax = axes()
    assert plots.residuals(line, ax=ax).startswith("Residuals of 12 standards about the line")
    assert ax.get_lines()[-1].get_ydata() == pytest.approx(line.standardised_residuals) and "[σ]" in ax.get_ylabel()
    series = fk.dilution_series(line, [5, 10], [[0.61, 0.612], [0.33, 0.332]])
    ax = axes()
    assert series.verdict in plots.dilutions(series, ax=ax)
    assert [tick.get_text() for tick in ax.get_xticklabels()] == ["5-fold", "10-fold"] and "% vol" in ax.get_ylabel()


def test_a_closed_vessels_picture_reaches_to_its_rating():
    """The rating is drawn and lies inside the picture, though the gas stays below it; without one it is said."""
    time = np.arange(0.0, 25.0)
    fit = fk.fit_growth(
        time,
        0.2 / (1 + np.exp(-(time - 10) / 2)) + 0.001 * np.cos(9 * time),
        "logistic",
        unit="mol CO2",
        counts="produced",
    )
    ax = axes()
    words = plots.pressure(fk.Vessel(2.0, 1.5, 25.0, rated_bar_gauge=8.0).pressure_over(fit), ax=ax)
    assert "maker's rating 8 bar" in words and ax.get_ylim()[1] > 8.0 and "bar gauge" in ax.get_ylabel()
    assert "no maker's rating" in plots.pressure(fk.Vessel(2.0, 1.5, 25.0).pressure_over(fit), ax=axes())


def test_the_limits_picture_names_what_binds():
    """Each limit has a bar, and the one that binds says so."""
    mash = fk.feed({"white sugar": 120.0, "diammonium phosphate": 3.0, "active dry yeast": 5.0})
    batch = fk.plan_batch(mash, liquid_L=2.0)
    ax = axes()
    words = plots.limits(batch, ax=ax)
    named = [tick.get_text() for tick in ax.get_yticklabels()]
    assert any(name.endswith(", binds") for name in named) and "binds" in words and "[g]" in ax.get_xlabel()
