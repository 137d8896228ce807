"""A notebook exported as a web page keeps what a panel said last: the verdict, the picture and its words."""

import re
from html.parser import HTMLParser
from pathlib import Path

import nbformat
import pytest

from fermkit.show.panel_page import GONE

HERE = Path(__file__).resolve().parent.parent


class Seen(HTMLParser):
    """The words of the page, and of each image its alt text."""

    def __init__(self):
        super().__init__()
        self.words, self.alts = [], []

    def handle_starttag(self, tag, attrs):
        if tag == "img":
            self.alts.append(dict(attrs).get("alt"))

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def exported():
    """The pressure notebook, exported without being run again."""
    from nbconvert import HTMLExporter

    book = nbformat.read(HERE / "notebooks" / "04_vessel_pressure.ipynb", 4)
    text, _ = HTMLExporter().from_notebook_node(book)
    seen = Seen()
    seen.feed(text)
    return book, seen


def kept(book):
    """What the panel kept in the notebook."""
    shown = [out["data"] for cell in book.cells for out in cell.get("outputs", []) if "data" in out]
    return next(data["text/html"] for data in shown if "fk-still" in data.get("text/html", ""))


def test_the_verdict_and_the_words_of_the_picture_are_on_the_exported_page(exported):
    """The sentence that stood beside the sliders, each number under it, and the picture's words for ears."""
    book, seen = exported
    still = Seen()
    still.feed(kept(book))
    page = re.sub(r"\s+", " ", " ".join(seen.words))
    for words in filter(str.strip, still.words):
        assert re.sub(r"\s+", " ", words).strip() in page
    assert still.alts and set(still.alts) <= set(seen.alts)
    assert len(still.alts[0]) > 60


def test_the_exported_page_says_that_no_kernel_runs(exported):
    """Nobody waits for sliders that are not there."""
    assert GONE in "".join(exported[1].words)


def test_every_picture_on_the_exported_page_has_words(exported):
    """A picture without a sentence says nothing to who cannot see it: the panel's, and those that cells drew."""
    book, seen = exported
    drawn = [out for cell in book.cells for out in cell.get("outputs", []) if "image/png" in out.get("data", {})]
    assert len(drawn) == len(seen.alts) > 2
    assert all(alt and len(alt) > 40 and "No description" not in alt for alt in seen.alts)
