"""The report: one file, nothing fetched, texts escaped, written whole or not at all, the same bytes twice."""

import json
import os
import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest

import fermkit as fk
from fermkit.basis.cautions import CAUTIONS
from fermkit.basis.errors import InputError
from fermkit.basis.files import write_whole
from fermkit.run.first_page import in_and_out_g
from fermkit.show import exports, report

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"


@pytest.fixture(scope="module")
def analysis():
    """One sample run, analysed."""
    return fk.analyse(fk.read_run(SAMPLES / "jar_3_closes"))


@pytest.fixture(scope="module")
def html(analysis):
    """Its report."""
    return report.html_report(analysis)


class Outline(HTMLParser):
    """Tags that are open, and attributes that would fetch something."""

    def __init__(self):
        super().__init__()
        self.open, self.fetched, self.scripts = [], [], 0

    def handle_starttag(self, tag, attrs):
        self.scripts += tag == "script"
        for name, value in attrs:
            if name in ("src", "href", "xlink:href") and not (value or "").startswith(("#", "data:")):
                self.fetched.append((tag, value))


def test_one_file_without_script_and_without_anything_to_fetch(html):
    """The page stands alone."""
    outline = Outline()
    outline.feed(html)
    assert outline.scripts == 0
    assert outline.fetched == []
    assert "url(http" not in html


def test_every_picture_says_in_words_what_it_shows(html):
    """Each figure has a label that a screen reader can read."""
    labels = re.findall(r'<figure role="img" aria-label="([^"]+)"', html)
    assert len(labels) >= 4
    assert all(len(label) > 20 for label in labels)


def test_the_page_says_invented_and_names_each_file_with_its_hash(html, analysis):
    """Provenance and origin stand on the page."""
    assert "invented" in html
    for source in analysis.run.sources:
        assert source.sha256 in html
        assert source.file in html


def test_the_numbers_are_those_of_the_analysis(html, analysis):
    """The page, the printout and the table show one and the same yield."""
    shown = analysis.yields["yeast_yield"].lines()[0].cells()[1]
    assert shown in html
    assert shown in str(analysis)


def test_no_missing_number_reaches_the_page(html):
    """NaN is said in words."""
    assert not re.search(r"\bnan\b", re.sub(r"<svg.*?</svg>", "", html, flags=re.S), flags=re.I)


def test_text_from_the_run_is_escaped(analysis):
    """A name or note with markup in it stays text."""
    nasty = replace(analysis, run=replace(analysis.run, name="<script>alert(1)</script>", note="<img src=x>"))
    html = report.html_report(nasty)
    assert "<script>" not in html
    assert "<img" not in html
    assert "&lt;script&gt;" in html


def test_two_runs_of_the_same_input_give_the_same_bytes(html):
    """No clock and no chance in the file."""
    again = report.html_report(fk.analyse(fk.read_run(SAMPLES / "jar_3_closes")))
    assert again == html


def test_written_whole_or_not_at_all(analysis, tmp_path, monkeypatch):
    """When the disk is full, the old report stays, and nothing is left beside it."""
    target = tmp_path / "report.html"
    fk.write_report(analysis, target)
    before = target.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        fk.write_report(analysis, target)
    assert target.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]


STOPPED = """
import sys, time
from pathlib import Path
from fermkit.basis.files import write_whole

def stop(event, args):
    if (event, sys.argv[1]) in (("open", "begun"), ("os.rename", "written")) and ".tmp" in str(args[0]) + str(args[-1]):
        print("here", flush=True)
        time.sleep(600)

if sys.argv[1] != "half":
    sys.addaudithook(stop)
print("begins", flush=True)
write_whole(Path(sys.argv[2]), b"<p>new</p>" * int(sys.argv[3]))
"""


@pytest.mark.slow
@pytest.mark.parametrize("moment", ["begun", "half", "written"])
def test_killed_while_it_writes(tmp_path, moment):
    """Before the first byte, in the middle of 300 MB, before the move: the old file is whole, the next is written."""
    import shutil
    import subprocess
    import sys
    import time

    folder = shutil.copytree(SAMPLES / "jar_5_starved", tmp_path / "run")
    target, found = folder / "report.html", fk.read_run(folder).findings
    target.write_bytes(b"<p>old</p>")
    size = 30_000_000 if moment == "half" else 3
    command = [sys.executable, "-c", STOPPED, moment, str(target), str(size)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout.readline() == "begins\n"
        if moment != "half":
            assert writer.stdout.readline() == "here\n"
        while moment == "half" and not any(part.stat().st_size for part in folder.glob(".report.html.*")):
            time.sleep(0.001)
        writer.kill()
    left = list(folder.glob(".report.html.*"))
    written = [part.stat().st_size for part in left]
    assert 0 < written[0] < 10 * size if moment == "half" else written == {"begun": [], "written": [30]}[moment]
    assert target.read_bytes() == b"<p>old</p>"
    assert fk.read_run(folder).findings == found
    write_whole(target, b"<p>newer</p>")
    assert target.read_bytes() == b"<p>newer</p>"
    for part in left:
        part.unlink()


def test_a_place_that_is_not_there_is_named(analysis, tmp_path):
    """The message says where and what to do."""
    with pytest.raises(InputError, match="choose another place"):
        fk.write_report(analysis, tmp_path / "nowhere" / "report.html")


def test_a_comparison_of_runs_is_a_page_too(analysis, tmp_path):
    """Two runs side by side: one file, with the files of both; of anything else the report is refused."""
    other = fk.analyse(fk.read_run(SAMPLES / "jar_5_starved"), curve="gompertz")
    text = fk.write_report(fk.compare_runs([analysis, other]), tmp_path / "two.html").read_text(encoding="utf-8")
    assert analysis.run.name in text and other.run.sources[0].sha256 in text
    with pytest.raises(InputError, match="a report of Run"):
        fk.write_report(analysis.run, tmp_path / "three.html")


def test_a_picture_that_cannot_be_drawn_costs_itself_only(analysis, monkeypatch):
    """The tables are there, the other pictures too."""

    def fails(*_):
        raise RuntimeError("no ink")

    whole = report.html_report(analysis).count("<figure ")
    monkeypatch.setattr(report, "PICTURES", {**report.PICTURES, "calibration": fails})
    assert report.html_report(analysis).count("<figure ") == whole - 1 > 8


def test_control_codes_in_a_name_are_shown_and_not_sent(analysis):
    """Escape sequences, marks that turn the writing, bytes that are no UTF-8: written out on page and screen."""
    nasty = replace(analysis, run=replace(analysis.run, name="jar\x1b[2J\u202e\udcff", note="\x9b31m"))
    for text in (report.html_report(nasty), str(nasty)):
        assert not set("\x1b\x9b\u202e\udcff") & set(text)
        assert "\\x1b[2J" in text
    json.loads(json.dumps(exports.as_data(nasty)))


def test_each_caution_stands_once(html):
    """However many results carry a caution, the report shows it once."""
    text = " ".join(unescape(html).split())
    counts = {item.name: text.count(item.says) for item in CAUTIONS}
    assert set(counts.values()) <= {0, 1}
    assert counts["Pressure"] == counts["Hygiene"] == 1


JARGON = re.compile(r"hexose|chi²|chi-square|varianc|posterior|σ|\bp [=<]|degrees of freedom|reconcil|prior", re.I)


@pytest.mark.parametrize("name", ["jar_3_closes", "jar_5_starved", "jar_7_leak", "keg_2_pressure"])
def test_the_first_page_is_for_everybody(name):
    """Plain words and grams; each amount says how it is known; one verdict with its rate of false alarms."""
    text = report.html_report(fk.analyse(fk.read_run(SAMPLES / name)), short=True)
    page = unescape(text[text.index('<section id="first-page">') : text.index("For whoever checks")])
    assert not JARGON.search(re.sub(r"<svg.*?</svg>", "", page, flags=re.S))
    amounts = re.findall(r'<th scope="row">([^<]+)</th><td class="number">([^<]+) g</td>.*?<td>([^<]+)</td></tr>', page)
    assert {"alcohol", "gas (CO2)", "new yeast, dry", "paste, dry", "extract, dry"} <= {row[0] for row in amounts}
    assert {row[2] for row in amounts} <= {"measured", "worked out", "assumed", "from the recipe"}
    assert page.count("Of 100 runs without a mistake, fewer than 5") == 1
    assert ("not found" in page) == (name == "jar_7_leak")


@pytest.mark.parametrize("short", [True, False])
def test_no_number_has_more_digits_than_anybody_reads(analysis, short):
    """Sixteen digits, or a number written with an exponent, stand nowhere on the page (hashes and drawings apart)."""
    html = report.html_report(analysis, short=short)
    text = re.sub(r"<svg.*?</svg>|<style.*?</style>|[0-9a-f]{64}", "", html, flags=re.S)
    assert max(len(run.replace(".", "")) for run in re.findall(r"\d+\.?\d*", text)) < 9
    assert not re.search(r"\d[eE][+-]\d", text) and not re.search(r"[-−]0(\.0+)?(?![.\d])", text)


def test_the_short_form_is_the_first_two_pages(html, analysis):
    """Without appendix; what can hurt is still named."""
    short = report.html_report(analysis, short=True)
    assert "<details" in html and "<details" not in short
    assert len(short) < 0.6 * len(html)
    assert all(item.name in unescape(short) for item in analysis.cautions.items)


def test_grams_in_and_out_are_the_same_height(analysis):
    """What went in is found again: the bands of the picture add up to the sugar, what is missing named."""
    into, out = in_and_out_g(analysis)
    assert sum(part.grams for part in out) == pytest.approx(sum(part.grams for part in into), rel=0.02)
    leaky = fk.analyse(fk.read_run(SAMPLES / "jar_7_leak"))
    lost = [part.grams for part in in_and_out_g(leaky)[1] if part.missing]
    truth = json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))["jar_7_leak"]
    whole = leaky.estimate["co2"].value
    assert lost == [pytest.approx(truth["leak_share"] * whole, rel=0.15)]


def test_a_comparison_says_what_must_not_be_concluded(analysis, html):
    """Differences with ± and interval, and the limits of two runs; a doubtful balance is named."""
    leaky = fk.analyse(fk.read_run(SAMPLES / "jar_7_leak"), curve="gompertz")
    found = fk.compare_runs([analysis, leaky])
    assert any(leaky.run.name in sentence for sentence in found.not_concluded)
    low, high = found.differences[0].interval()
    assert low < found.differences[0].value.n < high
    page = unescape(report.html_report(found))
    assert all(sentence in page for sentence in found.not_concluded) and page.count("<figure ") == 1
