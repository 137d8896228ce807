"""What a panel says beside its sliders, as HTML: the verdict, the picture, each number and what it was at the start."""

import base64
import html
from collections.abc import Mapping, Sequence
from typing import Final

from fermkit.basis.written import Line, Page

LOOK: Final = """<style>
.fk-panel { font-size: 16px; line-height: 1.35 }
.fk-panel .fk-body { flex-flow: row wrap; align-items: flex-start }
.fk-panel .fk-controls { flex: 1 1 215px; min-width: 0; max-width: 290px; overflow: visible }
.fk-panel .fk-seen { flex: 3 1 300px; min-width: 0; overflow: visible; position: sticky; top: 0 }
.fk-panel h4, .fk-panel p { margin: 2px 0 4px; max-width: 52em }
.fk-panel h4 { font-size: 17px } .fk-panel .fk-page { margin: 0 } .fk-panel .fk-page h4 { font-size: 16px }
.fk-panel .fk-verdict { font-weight: bold; border-left: 6px solid #0072B2; padding: 2px 0 2px 8px }
.fk-panel .fk-alarm { border-left: 6px solid #D55E00; background: #FFF1E6; color: #000 }
.fk-panel .fk-picture { display: block; width: 100%; height: auto; max-width: 680px }
.fk-panel table { margin: 0 !important; border-collapse: collapse; font-size: 15px; line-height: 1.25 }
.fk-panel th, .fk-panel td { padding: 1px 10px 1px 0 !important; font-weight: normal; text-align: left }
.fk-panel .fk-was, .fk-panel .fk-ends { color: var(--jp-ui-font-color1, #222); opacity: 0.8 }
.fk-panel .fk-aim { cursor: crosshair }
.fk-panel .fk-stale { opacity: 0.65 } .fk-panel .fk-later > p { font-style: italic }
.fk-panel .fk-below { font-size: 13px; line-height: 17px; min-height: 17px; position: relative }
.fk-panel .fk-tick { position: absolute; top: -9px; width: 2px; height: 7px; background: #D55E00 }
.fk-panel .fk-spoken { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%) }
.jp-OutputArea:has(.fk-panel) .jp-OutputArea-child:has(.fk-still) { display: none }
.fk-panel.jupyter-widgets-disconnected::before {
  content: "The kernel is gone: these sliders do nothing. Press Run > Run All Cells."; font: bold 16px sans-serif }
.fk-panel .widget-html-content { line-height: 1.35 }
.fk-panel .fk-numbers td:nth-child(-n+4) { white-space: nowrap }
.fk-panel .fk-controls :is(.widget-text, .widget-dropdown) { flex-flow: row wrap; height: auto }
.fk-panel .fk-controls .widget-text input { flex: 1 0 70px } .fk-panel .fk-controls select { flex: 1 0 130px }
.fk-panel .widget-slider :is(.noUi-target, .noUi-connects) { background: #767676; border-color: #767676 }
.fk-panel .widget-slider .noUi-handle { background: #0072B2; border-color: #0072B2 }
@media (max-width: 600px) {
  .fk-panel .fk-numbers td:nth-child(-n+4) { white-space: normal }
  .fk-panel .fk-seen { order: -1; z-index: 2; max-height: 50vh; overflow: auto }
  .fk-panel .fk-seen { background: var(--jp-layout-color0, #fff) }
}
.fk-seen .fk-numbers tr { display: flex; flex-wrap: wrap; column-gap: 8px; padding: 2px 0 }
.fk-seen .fk-numbers th, .fk-seen .fk-numbers td { padding: 0 !important }
.fk-seen .fk-numbers th { flex: 1 0 100% } .fk-seen .fk-numbers td:nth-child(2) { font-weight: bold }
.fk-big { font-size: 22px } .fk-big .fk-controls { max-width: none } .fk-big .fk-picture { max-width: none }
.fk-big table { font-size: 21px } .fk-big h4, .fk-big .fk-page h4 { font-size: 24px }
</style>"""

EARS: Final = """<img hidden alt="" src="data:," onerror="let left = 100
const hear = (handle, label) => {
  const unit = label.includes(', ') ? ' ' + label.split(', ').pop() : ''
  const say = () => {
    const text = parseFloat(parseFloat(handle.ariaValueText).toPrecision(6)) + unit
    if (handle.ariaValueText !== text) handle.ariaValueText = text
  }
  handle.ariaLabel = label
  new MutationObserver(say).observe(handle, {attributeFilter: ['aria-valuetext']})
  say()
}
const name = () => {
  const panel = this.closest('.fk-panel'), rows = panel ? [...panel.querySelectorAll('.fk-slider')] : []
  const handles = rows.map(row => row.querySelector('.noUi-handle')), said = panel && panel.querySelector('.fk-spoken')
  if (!said || handles.includes(null)) { if (left--) setTimeout(name, 100); return }
  let last = 0
  const put = event => {
    const aim = event.target.closest('.fk-aim'), box = panel.querySelector('.fk-clicked input')
    if (!aim || !box || event.buttons !== 1 || event.timeStamp - last < 60) return
    const [axis, ...ends] = aim.dataset.aim.split(' '), [first, end, low, high] = ends.map(Number)
    const way = aim.querySelector('svg').getScreenCTM().inverse()
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(way)
    const share = (at[axis] - first) / (end - first)
    if (!(share >= 0 && share <= 1)) return
    last = event.timeStamp
    box.value = (low + share * (high - low)).toPrecision(3)
    box.dispatchEvent(new Event('input', {bubbles: true}))
  }
  panel.addEventListener('pointerdown', put)
  panel.addEventListener('pointermove', put)
  handles.forEach((handle, at) => hear(handle, rows[at].querySelector('label').textContent))
  said.role = 'status'
}
name()">"""
"""Gives each handle its label and unit, and makes one place speak: slider widgets give a handle no name themselves.
A click or a drag in the picture is told to the box of the guess."""

GONE: Final = "A kept picture: no kernel runs behind this page. To move the sliders press Run > Run All Cells."


def still(page: Page, alt: str, picture: str) -> str:
    """What a page without a kernel shows: verdict, picture and numbers as they were last.

    The picture is an image, since a page that was not made here throws away drawings but keeps images.
    """
    data = base64.b64encode(picture.encode()).decode()
    image = f'<img alt="{html.escape(alt, quote=True)}" src="data:image/svg+xml;base64,{data}">' if picture else ""
    return f"<div class='fk-still'>{verdict(page, image)}{numbers(page, page.lines)}<p><i>{GONE}</i></p></div>"


def verdict(page: Page, picture: str, said: str = "") -> str:
    """The verdict and the picture; `said` goes before both, such as what came of a guess."""
    alarm = (" fk-alarm", "⚠ ALARM: ") if page.alarm else ("", "")
    heading = f"<p class='fk-verdict{alarm[0]}'>{alarm[1]}{html.escape(page.heading)}</p>"
    first = f"<p class='fk-status'>{html.escape(said)}</p>" if said else ""
    return f"<div class='fk-words'>{first}{heading}</div>{picture}"


def numbers(page: Page, start: Sequence[Line]) -> str:
    """Each number, what it was at the start where that was another, and what to doubt."""
    was = {line.name: line.cells() for line in start}
    rows = "".join(_row(line, was) for line in page.lines)
    table = f"<table><tbody>{rows}</tbody></table>" if rows else ""
    remarks = "".join(f"<p>{html.escape(remark)}</p>" for remark in page.remarks)
    return f"<div class='fk-numbers'>{table}{remarks}{''.join(part.html(4) for part in page.parts)}</div>"


def _row(line: Line, was: Mapping[str, tuple[str, ...]]) -> str:
    name, value, unit, note = map(html.escape, line.cells())
    before = was.get(line.name)
    told = f"was {html.escape(before[1])}" if before and before[:3] != line.cells()[:3] else ""
    cells = f"<td>{value}</td><td>{unit}</td><td class='fk-was'>{told}</td><td>{note}</td>"
    return f"<tr><th scope='row'>{name}</th>{cells}</tr>"


def refused(sentence: str, picture: str) -> str:
    """What could not be done, in words; the picture before it is faded, and no old number stays."""
    words = f"<p role='alert' class='fk-verdict fk-alarm fk-alert'>⚠ {html.escape(sentence)}</p>"
    return f"<div class='fk-words'>{words}</div><div style='opacity:0.25'>{picture}</div>"
