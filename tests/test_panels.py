"""Panels driven from code: numbers, words and picture move together, and nothing fails in silence."""

import asyncio
import base64
import re
import threading
import time
import warnings

import pytest
import toy_panel as toys
from uncertainties import ufloat

from fermkit.basis.errors import DoubtfulResult, InputError
from fermkit.basis.written import Line, Page
from fermkit.show import plots
from fermkit.show.controls import Choice, Slider, read_number
from fermkit.show.guess import Place
from fermkit.show.panel import Panel


@pytest.fixture
def panel():
    """A fresh toy."""
    return toys.toy()


def image(panel):
    """The picture as shown: its width, its height, its name for ears, its text."""
    found = re.search(r'<svg [^>]*width="(\d+)" height="(\d+)"[^>]*aria-label="([^"]*)".*</svg>', panel._seen.value)
    return int(found[1]), int(found[2]), found[3], found[0]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("1,5", 1.5), ("1.5", 1.5), (" 1,5 h ", 1.5), ("1.234,5", 1234.5), ("1,234.5", 1234.5),
        ("1 234,5", 1234.5), ("1\u202f234,5 h", 1234.5), ("−3", -3), ("+.5", 0.5), (",5", 0.5), ("5,", 5),
        ("2e-3", 0.002), ("1/4", 0.25),
    ],
)  # fmt: skip
def test_numbers_are_read_as_people_write_them(typed, meant):
    """Decimal comma, point, thousands with both marks, fractions, a true minus sign, the unit."""
    assert read_number(typed, "h") == pytest.approx(meant, rel=1e-12)


@pytest.mark.parametrize(
    "typed", ["", "h", "1,234,567", "1.2.3", "1 2", "1-2", "12;5", "1/0", "nan", "inf", "0x10"]
)
def test_what_has_no_one_meaning_is_refused(typed):
    """Better no number than a wrong one."""
    with pytest.raises(InputError, match=r"one number|is in"):
        read_number(typed, "h")


def test_another_unit_is_refused_not_converted():
    """Millilitres typed into a box of litres would be a thousandfold slip."""
    with pytest.raises(InputError, match="is in 'mL'"):
        read_number("500 mL", "L")


def test_picture_numbers_and_sentence_move_together(panel):
    """One change from code reaches all three, and the alt text says the same."""
    before, said = image(panel), str(panel)
    panel.set(rate=0.3)
    after = image(panel)
    assert after[3] != before[3] and str(panel) != said
    assert "rate of 0.3 per hour" in str(panel)
    assert "rate of 0.3 per hour" in panel._seen.value and "rate of 0.3 per hour" in after[2]
    assert "gas after a day" in after[2] and "rate twice over" in panel._later.value
    assert panel._knobs["rate"].value == 0.3 and panel._boxes["rate"].value == "0.3"


def test_the_picture_keeps_its_size_and_its_axes(panel):
    """No jump: the image states the same width and height, which are the file's own, and the frame stays."""
    place = panel.picture.axes[0].get_position().bounds
    for rate in (0.2, 5, 9):
        wide, high, _, _ = image(panel.set(rate=rate))
        assert (wide, high) == (590, 314)
    assert panel.picture.axes[0].get_position().bounds == place
    assert len(panel.picture.axes[0].lines) == 2


def test_the_repr_stays_the_same(panel):
    """Saved notebooks can be compared: a panel's name doesn't depend on its sliders."""
    assert repr(panel) == repr(panel.set(rate=2)) == "<fermkit panel 'Toy': 2 sliders, 1 picture>"


class Shown(list):
    """Stands for the page: keeps what is displayed, and what it is replaced by later."""

    def __call__(self, bundle, **_):
        self.append([bundle])
        return type("Handle", (), {"update": lambda _, bundle, **__: self[0].append(bundle)})()


def test_what_a_page_without_a_kernel_shows_is_the_last(panel, monkeypatch):
    """Verdict, numbers, a picture with its words: kept beside the widget, and kept anew after each move."""
    shown = Shown()
    monkeypatch.setattr("fermkit.show.panel.display", shown)
    panel._ipython_display_()
    panel.set(rate=0.3)
    (first, last), (widget,) = shown
    assert "application/vnd.jupyter.widget-view+json" in widget and widget["text/plain"] == repr(panel)
    assert "rate of 0.5 per hour" in first["text/html"] and "rate of 0.3 per hour" in last["text/html"]
    for part in (last["text/html"], last["text/plain"]):
        assert "gas after a day" in part and "rate twice over" in part
    alt, data = re.search(r'<img alt="([^"]+)" src="data:image/svg\+xml;base64,([^"]+)"', last["text/html"]).groups()
    assert "rate of 0.3 per hour" in alt and base64.b64decode(data).startswith(b"<svg")
    assert base64.b64decode(last["image/png"]).startswith(b"\x89PNG")


def test_one_place_speaks(panel):
    """The verdict and the first number, once at rest, in a region that stays; words of a move do not shout."""
    panel.set(rate=0.3)
    assert panel._spoken.value.startswith("At a rate of 0.3 per hour") and "gas after a day" in panel._spoken.value
    assert "aria-live" not in panel._seen.value + panel._numbers.value + panel._echoes["rate"].value


def test_an_unknown_name_or_a_value_off_the_scale_is_refused_and_changes_nothing(panel):
    """From code, errors are raised; the panel stays as it was."""
    before = dict(panel.values)
    with pytest.raises(InputError, match="did you mean 'rate'"):
        panel.set(rat=1)
    with pytest.raises(InputError, match=r"Rate, 1/h is 11"):
        panel.set(lag_h=5, rate=11)
    with pytest.raises(InputError, match="Kind is 'wild'"):
        panel.set(kind="wild")
    assert panel.values == before


def test_the_entry_box_takes_commas_and_says_what_it_understood(panel):
    """What a person types is read, echoed, and moves the slider; what can't be read changes nothing."""
    panel._boxes["lag_h"].value = "2,5 h"
    assert panel.values["lag_h"] == panel._knobs["lag_h"].value == 2.5
    assert "read as 2.5" in panel._echoes["lag_h"].value and "2.5 h to start" in str(panel)
    for typed, why in [("2,5x", "is in &#x27;x&#x27;"), ("200", "is 200"), ("2 min", "is in")]:
        panel._boxes["lag_h"].value = typed
        assert panel.values["lag_h"] == 2.5
        assert why in panel._echoes["lag_h"].value and "still 2.5" in panel._echoes["lag_h"].value


def test_a_value_between_two_steps_is_kept_exactly(panel):
    """The box is exact where the slider is coarse."""
    panel._boxes["lag_h"].value = "1/3 h"
    assert panel.values["lag_h"] == 1 / 3 and panel._knobs["lag_h"].value == 0.5
    assert panel._boxes["lag_h"].value == "0.333333"
    panel._knobs["lag_h"].value = 1.0
    panel._knobs["lag_h"].value = 0.5
    assert panel.values["lag_h"] == 0.5


def test_each_entry_box_carries_its_label(panel):
    """The box has the name, for people who hear the page; the slider stands beside it."""
    assert panel._boxes["rate"].description == "Rate, 1/h"
    assert not panel._boxes["rate"].continuous_update


def test_an_error_from_a_slider_is_said_in_words(panel):
    """A callback never fails in silence, and no stale number stays on show; then it recovers."""
    panel._knobs["rate"].value = 10.0
    assert "rate is 10 1/h. Needed: a rate below 9.9 1/h" in panel._seen.value
    assert "role='alert'" in panel._seen.value
    assert panel._numbers.value == "" and "opacity:0.25" in panel._seen.value
    panel._knobs["rate"].value = 1.0
    assert panel._status.value == "" and "opacity:0.25" not in panel._seen.value
    assert "rate of 1 per hour" in panel._seen.value


def test_a_fault_of_the_program_is_called_so(panel):
    """An unforeseen exception names itself and the values, and asks to be reported."""
    panel._knobs["note"].value = "break"
    assert re.search("ZeroDivisionError: a fault on purpose.* rate = 0.5.*report", panel._seen.value)


def test_from_code_an_error_is_raised(panel):
    """A script that drives a panel hears of trouble at once."""
    with pytest.raises(InputError, match="a rate below"):
        panel.set(rate=10)


def test_a_button_does_its_work_and_answers(panel):
    """Pressing from code is the same as pressing in the page."""
    toys.PRESSED.clear()
    panel.press("press")
    assert [panel.values] == toys.PRESSED and "Pressed at a rate of 0.5" in panel._status.value
    with pytest.raises(InputError, match="a button of the panel"):
        panel.press("pres")


def test_a_doubt_of_the_library_is_shown():
    """A DoubtfulResult raised while drawing ends up among the remarks, once."""

    def draw(x):
        warnings.warn("the plateau was not reached", DoubtfulResult, stacklevel=1)
        return Page(f"x is {x:g}")

    panel = Panel("Doubt", [Slider("x", "X", 0, 1, 0.1, 0.5)], draw)
    assert panel.page.remarks == ["the plateau was not reached"]


def test_text_from_a_person_is_escaped():
    """What was typed can't become part of the page's code."""
    panel = Panel("<b>", [Slider("x", "X", 0, 1, 0.1, 0.5)], lambda x: Page("<script>alert(1)</script>"))
    assert "<script>" not in panel._seen.value and "&lt;b&gt;" in panel.widget.children[0].value


def test_the_slow_half_waits_until_the_slider_rests():
    """Two-speed: during a drag only the quick half is drawn; the slow one comes once, after it."""
    runs = []

    def later(x):
        runs.append(x)
        return Page(f"slow at {x:g}")

    panel = Panel(
        "Two speeds", [Slider("x", "X", 0, 10, 1, 0)], lambda x: Page(f"quick at {x:g}"), slow=later
    )
    assert runs == [0]

    async def drag():
        for x in range(1, 6):
            panel._knobs["x"].value = x
            assert f"quick at {x}" in panel._seen.value and "calculating" in panel._later.value
            await asyncio.sleep(0.02)
        assert runs == [0]
        await asyncio.sleep(0.4)

    asyncio.run(drag())
    assert runs == [0, 5] and "slow at 5" in panel._later.value
    assert "slow at 5" in str(panel)


def test_a_timer_presses_a_button_until_it_is_stopped(panel):
    """For a run in progress."""
    toys.PRESSED.clear()

    async def wait():
        stop = panel.every(0.05, "press")
        for _ in range(400):  # a busy machine takes its time over a picture
            await asyncio.sleep(0.05)
            if len(toys.PRESSED) >= 2:
                break
        stop()
        seen = len(toys.PRESSED)
        await asyncio.sleep(0.2)
        return seen

    seen = asyncio.run(wait())
    assert 2 <= seen == len(toys.PRESSED)


def test_a_number_that_changed_stands_beside_what_it_was(panel):
    """The start is told beside the number, below the slider, faintly in the picture; back at the start it is gone."""
    before = panel._seen.value
    panel.set(rate=0.2)
    assert "was 99.91" in panel._numbers.value and 'opacity="0.3"' in panel._seen.value
    assert "at the start 0.5" in panel._echoes["rate"].value
    panel.reset()
    assert panel._seen.value == before and "at the start" not in panel._echoes["rate"].value


def test_undo_goes_back_step_by_step(panel):
    """Each move is one step; a drag is one step however many values it passed; at the first there is nothing more."""
    panel.set(rate=1)
    for rate in (2, 3, 4):
        panel._knobs["rate"].value = rate
    assert panel.undo().values["rate"] == 1
    assert panel.undo().values["rate"] == 0.5
    assert panel.undo().values["rate"] == 0.5


def test_a_page_that_comes_late_does_not_undo_what_code_has_set(panel):
    """The value from before, sent back at once by the page, is an echo; the same later is a person's move."""
    panel.set(rate=2)
    panel._knobs["rate"].value = 0.5
    assert panel.values["rate"] == 2 and panel._knobs["rate"].value == 2
    panel._told = (panel._told[0] - 10, panel._told[1])
    panel._knobs["rate"].value = 0.5
    assert panel.values["rate"] == 0.5


def test_a_guess_is_asked_for_before_the_move_is_shown():
    """With 'guess first' nothing new is told until a guess stands; then the guess is set beside the number."""
    line = Line("gas", 40.0, "mL")
    panel = Panel("Guess", [Slider("x", "X", 0, 1, 0.1, 0.5)], lambda x: Page(f"x is {x:g}", [line]), guess="gas")
    panel.guess.first.value = True
    panel._knobs["x"].value = 0.7
    assert "Guess first: gas" in panel._seen.value and "x is 0.7" not in panel._seen.value
    panel._guessed("30,5 mL")
    assert "You guessed 30.5 mL. Gas: 40.00 mL." in panel._seen.value and "x is 0.7" in panel._seen.value


def test_a_guess_can_be_a_place_in_the_picture():
    """The mark moves over the picture as it stood, by the rail or by a click; then what comes is shown beside it."""

    def draw(x):
        ax.plot([0, 1], [0, 1000 * x])
        ax.set(xlim=(0, 1), ylim=(0, 2000))
        return Page(f"x is {x:g}", [Line("height", ufloat(x, 0.1), "mol")])

    picture = plots.figure(10, 6)
    with plots.house_style():
        ax = picture.subplots()
    panel = Panel("Place", [Slider("x", "X", 0, 1, 0.1, 0.5)], draw, picture, guess="height", place=Place("y", 1000))
    assert panel.guess.box.description == "My guess, mol" and (panel.guess.rail.min, panel.guess.rail.max) == (0, 2)
    panel.guess.first.value = True
    panel._knobs["x"].value = 1.0
    before = panel._drawing
    assert "Guess first: height" in panel._seen.value and before.removesuffix("</svg>") in panel._seen.value
    panel.guess._clicked.value = "1.2"
    assert panel.guess.box.value == "1.2" and panel.guess.rail.value == 1.2 and "Guess first" in panel._seen.value
    middle = float(re.search(r'class="fk-mark" d="M[\d.]+ ([\d.]+)H', panel._seen.value)[1])
    assert middle == pytest.approx(image(panel)[1] - ax.transData.transform((0, 1200))[1], abs=0.1)
    panel.guess.rail.value = 1.5
    assert "x is 1" not in panel._seen.value
    panel._guessed(panel.guess.box.value)
    assert "Height: 1.00 ± 0.10 mol. Your guess lies 50 % above it." in panel._seen.value
    assert "fk-mark" in panel._seen.value and "x is 1" in panel._seen.value
    panel._knobs["x"].value = 0.9
    panel._guessed("0,9")
    assert "within its 95 % interval" in panel._seen.value
    panel.guess.first.value = False
    assert "fk-mark" not in panel._seen.value


def test_a_control_that_does_nothing_now_says_why():
    """It cannot be moved, and the reason stands below it."""
    why = "only when it is open"
    panel = Panel(
        "Idle",
        [Choice("state", "State", ["open", "shut"], "open"),
         Slider("x", "X", 0, 1, 0.1, 0.5, lambda values: "" if values["state"] == "open" else why)],
        lambda state, x: Page(f"{state} {x:g}"),
    )  # fmt: skip
    assert not panel._knobs["x"].disabled
    panel.set(state="shut")
    assert panel._knobs["x"].disabled and panel._boxes["x"].disabled and why in panel._echoes["x"].value


def test_moves_that_come_in_two_threads_wait_for_one_another():
    """A page may send each slider's moves in its own thread: no page is half of one move and half of another."""
    drawing, most = [], []

    def draw(x, y):
        drawing.append(None)
        most.append(len(drawing))
        time.sleep(0.002)
        drawing.pop()
        return Page(f"{x:g} and {y:g}", [Line("sum", x + y)])

    panel = Panel("Two", [Slider(name, name, 0, 50, 1, 0) for name in "xy"], draw)

    def push(name):
        for value in range(1, 31):
            panel._knobs[name].value = float(value)

    threads = [threading.Thread(target=push, args=(name,)) for name in "xy"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert max(most) == 1 and len(most) == 61
    assert panel.values == {"x": 30, "y": 30} and "30 and 30" in panel._seen.value and ">60" in panel._numbers.value


def test_no_pyplot(panel):
    """Figures belong to panels; nothing piles up in a global list."""
    import sys

    module = sys.modules.get("matplotlib.pyplot")
    assert module is None or not module.get_fignums()
