"""The lean SVG of a panel's picture: all that is drawn stands in it, and what it cannot write it refuses."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
import toy_panel

from fermkit.show import plots
from fermkit.show.lean import CannotWrite, LeanSvg

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def picture():
    """A frozen picture with a line, marks, a hatched bar and words."""
    made = plots.figure(10, 6)
    with plots.house_style():
        ax = made.subplots()
        ax.plot([0, 10], [0, 5], label="line")
        ax.plot(np.arange(7.0), np.arange(7.0), "o", label="marks")
        ax.bar([8], [3], hatch="//")
        ax.set(xlabel="time [h]", ylabel="gas [mL]", xlim=(0, 10), ylim=(0, 6))
        ax.legend()
    return plots.freeze(made)


def test_all_that_is_drawn_stands_in_it(picture):
    """Labels, ticks, legend as text; seven marks and one in the legend; the hatching; each id that is used is there."""
    root = ET.fromstring(LeanSvg(picture, "a").write("a line & more"))
    words = [text.text for text in root.iter(f"{SVG}text")]
    assert {"time [h]", "gas [mL]", "line", "marks", "10", "6"} <= set(words)
    assert len(list(root.iter(f"{SVG}use"))) >= 8
    assert root.get("aria-label") == "a line & more"
    text = ET.tostring(root, encoding="unicode")
    ids = set(re.findall(r' id="([^"]+)"', text))
    used = set(re.findall(r'url\(#([^)]+)\)|href="#([^"]+)"', text))
    assert {name for pair in used for name in pair if name} == ids
    assert all(name.startswith("a-") for name in ids)


def test_words_stand_where_the_axes_are(picture):
    """The label of x is below the axes, that of y left of them, in pixels of the picture."""
    root = ET.fromstring(LeanSvg(picture, "a").write(""))
    at = {text.text: (float(text.get("x")), float(text.get("y"))) for text in root.iter(f"{SVG}text")}
    box = picture.axes[0].get_window_extent()
    high = float(root.get("height"))
    assert at["time [h]"][1] > high - box.y0 and at["gas [mL]"][0] < box.x0
    assert at["6"][1] < at["0"][1]


def test_the_frame_is_written_anew_only_where_it_has_changed(picture):
    """Another line keeps the ticks; other limits bring others."""
    lean = LeanSvg(picture, "a")
    lean.write("")
    picture.axes[0].lines[0].set_ydata([0, 2])
    lean.write("")
    assert len(lean._frames) == len(lean._legends) == 1
    picture.axes[0].set_xlim(0, 40)
    assert ">40<" in lean.write("") and len(lean._frames) == 2
    picture.axes[0].set_xlim(0, 10)
    assert ">40<" not in lean.write("") and len(lean._frames) == 2


def test_other_words_at_the_same_ticks_are_written(picture):
    """Names of rows that change where they stand are not those from before."""
    lean = LeanSvg(picture, "a")
    for words in (["energy", "nitrogen"], ["energy, binds", "nitrogen"]):
        with plots.house_style():
            picture.axes[0].set_yticks([1, 2], words)
        assert f">{words[0]}<" in lean.write("")


def test_a_legend_is_made_anew_only_where_it_would_look_another_way():
    """The same words and looks give the same legend and the same text; another colour or word gives another."""
    made = plots.figure(10, 6)
    with plots.house_style():
        ax = made.subplots()

    def drawn(**looks):
        with plots.house_style():
            plots.wipe(ax)
            ax.plot([0, 10], [0, 5], **({"label": "line"} | looks))
            ax.errorbar([1], [1], xerr=[1], label="one")
            plots.legend(ax, "upper left")
        return ax.get_legend(), lean.write("")

    lean = LeanSvg(made, "a")
    one, text = drawn()
    plots.freeze(made)
    text = drawn()[1]
    assert drawn(color="red")[0] is not one and drawn(label="other")[0] is not one
    assert drawn(linestyle=":")[1] != text
    again, same = drawn()
    assert again is one and same == text


def test_the_same_picture_gives_the_same_text():
    """Twice from one panel, and from a panel made anew."""
    one, other = (LeanSvg(toy_panel.toy().picture, "a") for _ in range(2))
    assert one.write("x") == one.write("x") == other.write("x")


@pytest.mark.parametrize("what", ["image", "formula"])
def test_what_it_cannot_write_it_refuses(picture, what):
    """An image or a formula needs a PNG."""
    if what == "image":
        picture.axes[0].imshow(np.eye(2))
    else:
        picture.axes[0].text(1, 1, r"$x^2$")
    with pytest.raises(CannotWrite):
        LeanSvg(picture, "a").write("")
