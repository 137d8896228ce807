"""Words and pictures stand out from what is behind them, reckoned from the very colours that are used.

Source: W3C, Web Content Accessibility Guidelines 2.2, definitions of relative luminance and contrast ratio;
1.4.3: text 4.5 to 1; 1.4.11: what is needed to understand a picture 3 to 1, where it is told in no other way.
"""

import re

import numpy as np
import pytest
from matplotlib.colors import to_rgba
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from fermkit.show import form, panel_page

WHITE, NIGHT = (1.0, 1.0, 1.0), to_rgba("#111111")[:3]
"""The page in JupyterLab's light and dark themes."""


def luminance(colour):
    """Relative luminance of a colour in sRGB."""
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in colour)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def ratio(front, behind, opacity=1.0):
    """Contrast of one colour on another, each told as matplotlib or a page tells it."""
    behind = np.array(to_rgba(behind)[:3])
    seen = opacity * np.array(to_rgba(front)[:3]) + (1 - opacity) * behind
    light, dark = sorted((luminance(seen), luminance(behind)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_is_that_of_the_guidelines():
    """Black on white is 21 to 1, a colour on itself 1 to 1, the lightest grey for text on white is #767676."""
    assert ratio("black", "white") == pytest.approx(21) and ratio("red", "red") == 1
    assert ratio("#767676", "white") >= 4.5 > ratio("#777777", "white")


def rules(style):
    """Each rule of a style sheet: its selector, and what it sets."""
    for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", style):
        yield selector.strip(), dict(re.findall(r"([a-z-]+):\s*([^;]+?)\s*(?:;|$)", body))


@pytest.mark.parametrize("style", [panel_page.LOOK, form.STYLE], ids=["panel", "form"])
def test_words_of_a_panel_can_be_read(style):
    """Each colour of words on the ground that it names, or on a white page; faint words are dark enough still."""
    found = 0
    for selector, looks in rules(style):
        ground = looks.get("background", "#fff")
        ink, opacity = looks.get("color", ""), float(looks.get("opacity", 1))
        ink = re.sub(r"var\(.*, (#\w+)\)", r"\1", ink)
        if ink.startswith("#") or opacity < 1:
            found += 1
            assert ratio(ink or "#000", ground, opacity * 0.87) >= 4.5, selector  # JupyterLab writes at 87 %
    assert found >= 2


@pytest.mark.parametrize("page", [WHITE, NIGHT], ids=["light", "dark"])
def test_rails_and_edges_of_a_panel_stand_out(page):
    """Rail, handle, tick and the edge of the verdict, on both themes."""
    parts = dict.fromkeys((".noUi-handle", ".noUi-target", ".fk-tick"), "background") | {".fk-alarm": "border"}
    for part, what in parts.items():
        looks = [looks for selector, looks in rules(panel_page.LOOK) if part in selector]
        colour = re.search(r"#\w+", next(v for one in looks for k, v in one.items() if k.startswith(what)))[0]
        assert ratio(colour, page) >= 3, part


def seen(colour, alpha=None):
    """Contrast of what is drawn with white paper."""
    r, g, b, through = to_rgba(colour, alpha)
    return ratio((r, g, b), WHITE, through)


def faint(ax):
    """What of a picture is too faint: lines and marks, and areas without an edge. Not the grid, which says nothing."""
    for line in ax.findobj(Line2D, include_self=False):
        if line in (*ax.get_xgridlines(), *ax.get_ygridlines()) or not line.get_visible():
            continue
        drawn = line.get_linestyle() not in ("None", " ", "") and line.get_linewidth() > 0
        marked = line.get_marker() not in ("None", None, "", " ")
        if drawn and seen(line.get_color(), line.get_alpha()) < 3:
            yield line
        if marked and max(seen(line.get_markeredgecolor(), line.get_alpha()), seen(line.get_color())) < 3:
            yield line
    for patch in ax.findobj(Patch, include_self=False):
        edge = patch.get_edgecolor() if patch.get_linewidth() > 0 else (1, 1, 1, 0)
        if patch is ax.patch or patch.get_gid() == "ribbon" or patch in legend_patches(ax):
            continue  # a ribbon only leads the eye: what it leads to has an edge
        if max(seen(edge), seen(patch.get_facecolor())) < 3:
            yield patch
    for area in ax.collections:
        if max(map(seen, [*area.get_edgecolors(), *area.get_facecolors()])) < 3:
            yield area


def legend_patches(ax):
    """The frame of the legend and the samples in it."""
    return ax.get_legend().findobj(Patch) if ax.get_legend() else []
