"""One pattern for every panel of sliders: declare the controls, draw, say it in words.

A panel is told its controls and a function ``draw(**values) -> Page`` that draws into one
kept picture. Everything else happens here: the picture goes into an image of fixed size with
alt text, the page's words and numbers stand below it, each slider has a named entry box that
takes decimal commas, an error is shown in words instead of vanishing, and slow work waits
until the slider rests. The only module that imports ipywidgets.
"""

import asyncio
import base64
import html
import math
import warnings
from collections.abc import Callable, Sequence
from typing import Any

import ipywidgets as W

from fermkit.basis.checks import one_of
from fermkit.basis.errors import DoubtfulResult, FermkitError, InputError
from fermkit.basis.written import Page
from fermkit.show import plots
from fermkit.show.controls import Action, Choice, Control, Slider, Upload

LOOK = """<style>
.fk-panel h4, .fk-panel p { margin: 2px 0 4px; line-height: 1.35; max-width: 52em }
.fk-panel h4 { font-size: 1.05em } .fk-panel .fk-page { margin: 0 }
.fk-panel table { margin: 0 !important; border-collapse: collapse }
.fk-panel th, .fk-panel td { padding: 1px 10px 1px 0 !important; line-height: 1.35; font-weight: normal }
.fk-panel .fk-stale { opacity: 0.35 } .fk-panel .fk-later > p { font-style: italic }
.fk-panel .fk-alert { border-left: 4px solid #D55E00; padding-left: 8px }
</style>"""
LABEL = "220px"
REST_S = 0.25  # a slider that hasn't moved for so long is taken to rest


class Panel:
    """Controls, one picture, and what it says, kept in step with one another.

    Parameters
    ----------
    title : str
    controls : list of Slider, Choice, Paste, Upload, Action
    draw : callable
        ``draw(**values) -> Page``, with one keyword for each control. It draws into the axes
        of `picture`, which are wiped before (`plots.wipe`), within about 40 ms. The page's heading is the
        verdict in one sentence, its lines the numbers, its remarks what to doubt.
    picture : matplotlib Figure, optional
        Made by `plots.figure`, axes included; laid out once, then frozen.
    slow : callable, optional
        Like `draw`, for work that takes longer: run when the controls have rested, it may draw on.

    Examples
    --------
    >>> from fermkit.basis.written import Line
    >>> def draw(sugar_g: float) -> Page:
    ...     return Page("Sugar gives gas.", [Line("carbon dioxide, at most", 0.4886 * sugar_g, "g")])
    >>> panel = Panel("Gas from sugar", [Slider("sugar_g", "Sugar, g", 0, 500, 10, 100)], draw)
    >>> panel
    <fermkit panel 'Gas from sugar': 1 slider, no picture>
    >>> panel.set(sugar_g="37,5").values
    {'sugar_g': 37.5}
    >>> print(panel)
    Sugar gives gas.
    <BLANKLINE>
      carbon dioxide, at most   18.32   g
    """

    def __init__(
        self,
        title: str,
        controls: Sequence[Control],
        draw: Callable[..., Page],
        picture: plots.Figure | None = None,
        slow: Callable[..., Page] | None = None,
    ) -> None:
        self.title = title
        self.picture = picture
        self._inputs = {c.name: c for c in controls if not isinstance(c, Action)}
        self._sliders = {c.name: c for c in controls if isinstance(c, Slider)}
        self._buttons = {c.name: c for c in controls if isinstance(c, Action)}
        self.values: dict[str, Any] = {name: c.value for name, c in self._inputs.items()}
        self.page = self._at_rest = Page("")
        self._draw, self._slow = draw, slow
        self._knobs: dict[str, Any] = {}
        self._boxes: dict[str, Any] = {}
        self._echoes: dict[str, Any] = {}
        self._timer: asyncio.TimerHandle | None = None
        self._quiet = False
        self._png = b""
        self._tall = 0.0
        self._image, self._status, self._words, self._later = (W.HTML() for _ in range(4))
        self._below = W.VBox([self._status, self._words, self._later])
        rows = [self._row(control) for control in controls]
        head = W.HTML(f"{LOOK}<h4>{html.escape(title)}</h4>")
        self.widget = W.VBox([head, *rows, self._image, self._below])
        self.widget.add_class("fk-panel")
        if not self._attempt(self._refresh):
            self._refresh()  # a panel that can't be drawn as declared says so aloud

    # what a person in Python uses

    def set(self, **values: Any) -> "Panel":
        """Move controls from code, by name; slow work is done before this returns.

        Raises
        ------
        InputError
            Where there is no such control, or the value lies off its scale.
        """
        for name in values:
            one_of(name, list(self.values), f"a control of the panel {self.title!r}")
        self.values |= {name: self._inputs[name].accept(value) for name, value in values.items()}
        self._show_values()
        self._refresh()
        return self

    def press(self, name: str) -> "Panel":
        """Press a button from code, by name."""
        one_of(name, list(self._buttons), f"a button of the panel {self.title!r}")
        self._act(name)
        return self

    def every(self, seconds: float, action: str) -> Callable[[], None]:
        """Press a button every so many seconds while the kernel lives; returns what stops it."""
        loop = asyncio.get_running_loop()
        handle: list[asyncio.TimerHandle] = []

        def again() -> None:
            self._attempt(lambda: self._act(action))
            handle[:] = [loop.call_later(seconds, again)]

        handle[:] = [loop.call_later(seconds, again)]
        return lambda: handle[0].cancel()

    def __repr__(self) -> str:
        sliders = len(self._sliders)
        pictures = "1 picture" if self.picture is not None else "no picture"
        return f"<fermkit panel {self.title!r}: {sliders} slider{'s' * (sliders != 1)}, {pictures}>"

    def __str__(self) -> str:
        return self.page.text()

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        bundle: dict[str, Any] = dict(self.widget._repr_mimebundle_()) | {"text/plain": repr(self)}
        if self._png:  # what a page without a kernel can show
            bundle["image/png"] = base64.b64encode(self._png).decode()
        return bundle

    # from values to what is seen

    def _refresh(self) -> None:
        self._redraw()
        self._finish()

    def _redraw(self) -> None:
        with plots.house_style():
            for ax in self.picture.axes if self.picture is not None else []:
                plots.wipe(ax)
        self.page = self._drawn(self._draw)
        self._show_picture()
        self._words.value = f"<div aria-live='polite' class='fk-words'>{self.page.html(4)}</div>"
        self._status.value = ""
        self._make_room(self.page)

    def _finish(self) -> None:
        if self._slow is None:
            return
        page = self._drawn(self._slow)
        self._show_picture()
        self._at_rest = page
        self._later.value = self._slowly("Worked out for these values:", "")
        self.page = Page(self.page.heading, self.page.lines, self.page.remarks, [page])
        self._make_room(self.page)

    def _slowly(self, state: str, look: str) -> str:
        """The slow half's words, or the last ones greyed out while new ones are worked out."""
        said = f"<p>{state}</p><div class='{look}'>{self._at_rest.html(4)}</div>"
        return f"<div aria-live='polite' class='fk-later'>{said}</div>"

    def _make_room(self, page: Page) -> None:
        """Room for the longest words so far, so that what stands below doesn't jump."""
        remarks = [text for each in [page, *page.parts] for text in (each.heading, *each.remarks)]
        lines = sum(len(each.lines) for each in [page, *page.parts])
        tall = 22.0 * lines + sum(8 + 18 * math.ceil(len(text) / 110) for text in remarks)
        if tall > self._tall:
            self._tall = tall + 80  # with room to spare, so that one more remark moves nothing
        self._below.layout.min_height = f"{self._tall:.0f}px"

    def _drawn(self, draw: Callable[..., Page]) -> Page:
        with warnings.catch_warnings(record=True) as doubts, plots.house_style():
            warnings.simplefilter("always", DoubtfulResult)
            page = draw(**self.values)
        said = dict.fromkeys(str(doubt.message) for doubt in doubts)
        return Page(page.heading, page.lines, [*page.remarks, *said], page.parts)

    def _show_picture(self) -> None:
        if self.picture is None:
            return
        if self.picture.get_layout_engine() is not None:
            plots.freeze(self.picture)
        self._png = plots.png(self.picture)
        wide, high = self.picture.canvas.get_width_height()  # as in the file, to the pixel: else it blurs
        numbers = (" ".join(part for part in line.cells()[:3] if part) for line in self.page.lines)
        alt = html.escape("; ".join([f"{self.title}: {self.page.heading}", *numbers]), quote=True)
        data = base64.b64encode(self._png).decode()
        self._image.value = (
            f'<img class="fk-picture" width="{wide}" height="{high}" style="max-width:none" '
            f'alt="{alt}" src="data:image/png;base64,{data}">'
        )

    # from what a person does to values

    def _attempt(self, work: Callable[[], None]) -> bool:
        """Do it; an error is shown in words, since a notebook shows none from a callback."""
        try:
            work()
        except FermkitError as error:
            self._complain(f"{error.met}. Needed: {error.needed}. To do: {error.do}.")
        except Exception as error:
            at = ", ".join(f"{k} = {v!r:.40}" for k, v in self.values.items())
            self._complain(f"fermkit itself failed here ({type(error).__name__}: {error}) at {at}. Please report this.")
        else:
            return True
        return False

    def _complain(self, sentence: str) -> None:
        self.page = Page(sentence)
        self._words.value = self._later.value = ""
        self._image.value = self._image.value.replace("max-width:none", "max-width:none;opacity:0.25")
        self._status.value = f"<p role='alert' class='fk-status fk-alert'>{html.escape(sentence)}</p>"

    def _moved(self, name: str, value: Any) -> None:
        """A control was moved in the page: draw at once, do the slow part when it rests."""
        if self._quiet:
            return
        self.values[name] = value
        self._show_values(but=name)
        if not self._attempt(self._redraw) or self._slow is None:
            return
        self._later.value = self._slowly("calculating …", "fk-stale")
        if self._timer is not None:
            self._timer.cancel()
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:  # no page, no loop: nothing to wait for
            self._attempt(self._finish)
        else:
            self._timer = loop.call_later(REST_S, lambda: self._attempt(self._finish))

    def _slid(self, name: str, value: float) -> None:
        """A page sends back the nearest step after an exact value was typed: that is no move."""
        control = self._sliders[name]
        if abs(value - control.nearest_step(self.values[name])) > 1e-6 * control.step:
            self._moved(name, float(f"{value:.12g}"))

    def _typed(self, name: str, text: str) -> None:
        """Something was typed into a slider's entry box: say what was understood, or why not."""
        if self._quiet:
            return
        echo = self._echoes[name]
        try:
            value = self._inputs[name].accept(text)
        except InputError as error:
            echo.value = f"<span role='alert'>{html.escape(error.met)}; still {self.values[name]:g}</span>"
            return
        self._moved(name, value)
        echo.value = f"<span aria-live='polite'>read as {value:g}</span>"

    def _act(self, name: str) -> None:
        said = self._buttons[name].do(**self.values)
        self._refresh()
        if said:
            self._status.value = f"<p role='status' class='fk-status'>{html.escape(said)}</p>"

    def _show_values(self, but: str = "") -> None:
        """Bring knobs and boxes in step with the values, without hearing an echo."""
        self._quiet = True
        try:
            for name, value in self.values.items():
                if name in self._boxes:
                    self._knobs[name].value = self._sliders[name].nearest_step(value)
                    self._boxes[name].value = f"{value:.6g}"
                    self._echoes[name].value = ""
                elif name != but and not isinstance(self._inputs[name], Upload):
                    self._knobs[name].value = value
        finally:
            self._quiet = False

    # the controls as widgets

    def _row(self, control: Control) -> Any:
        wide = {"description_width": LABEL}
        if isinstance(control, Action):
            button = W.Button(description=control.label, layout=W.Layout(width="auto"))
            button.on_click(lambda _: self._attempt(lambda: self._act(control.name)))
            return W.HBox([button], layout=W.Layout(margin=f"0 0 0 {LABEL}"))
        name = control.name
        if isinstance(control, Slider):
            return self._slider_row(control, wide)
        if isinstance(control, Choice):
            knob = W.Dropdown(options=list(control.words), value=control.value, description=control.label, style=wide)
            knob.layout.width = f"{max(310, 270 + 8 * max(map(len, control.words)))}px"
        elif isinstance(control, Upload):
            knob = W.FileUpload(accept=control.kinds, multiple=False, description=control.label)
            knob.layout = W.Layout(width="280px", margin=f"0 0 0 {LABEL}")
        else:
            kind = W.Textarea if control.lines > 1 else W.Text
            knob = kind(value=control.value, description=control.label, continuous_update=False, style=wide)
            knob.layout.width = "600px"
            if control.lines > 1:
                knob.rows = control.lines
        self._knobs[name] = knob
        knob.observe(lambda change: self._moved(name, self._taken(control, change["new"])), names="value")
        return knob

    def _taken(self, control: Control, value: Any) -> Any:
        if isinstance(control, Upload):
            return (value[0]["name"], bytes(value[0]["content"])) if value else None
        return value

    def _slider_row(self, control: Slider, wide: dict[str, str]) -> Any:
        name = control.name
        box = W.Text(
            value=f"{control.value:.6g}",
            description=control.label,
            continuous_update=False,
            style=wide,
            layout=W.Layout(width="310px"),
        )
        knob = W.FloatSlider(
            value=control.value,
            min=control.low,
            max=control.high,
            step=control.step,
            readout=False,
            layout=W.Layout(width="260px"),
        )
        echo = W.HTML(layout=W.Layout(margin="0 0 0 8px"))
        knob.observe(lambda change: self._slid(name, change["new"]), names="value")
        box.observe(lambda change: self._typed(name, change["new"]), names="value")
        self._knobs[name], self._boxes[name], self._echoes[name] = knob, box, echo
        return W.HBox([box, knob, echo])
