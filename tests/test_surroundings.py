"""Clocks, languages, threads and forks around the kit change no number."""

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

import fermkit as fk
from fermkit.run.format import TABLES
from fermkit.run.tables import LARGEST_BYTES, read_table

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"
ONLY = ("feed", "calibration", "drift", "sample_rows", "samples", "ethanol_pct_vol", "released", "routes", "vessel",
        "estimate", "adds_up", "gas_by_route", "gas", "read", "harvest", "yeast")  # fmt: skip


def page(name):
    """What a run says, to the last digit."""
    found = fk.analyse(fk.read_run(SAMPLES / name), only=ONLY)
    return [repr(found.estimate[key].value) for key in ("co2", "ethanol", "yeast")], str(found)


def test_eight_threads_say_what_one_says():
    """Two runs, four times each, side by side."""
    alone = {name: page(name) for name in ("jar_3_closes", "keg_2_pressure")}
    with ThreadPoolExecutor(8) as pool:
        assert all(page_ == alone[name] for name, page_ in pool.map(lambda name: (name, page(name)), [*alone] * 4))


@pytest.mark.skipif(sys.platform == "win32", reason="no fork there")
@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
def test_a_forked_child_says_what_its_parent_says():
    """After the parent has analysed, with all that it keeps in memory."""
    before = page("jar_5_starved")
    with get_context("fork").Pool(1) as pool:
        assert pool.apply(page, ("jar_5_starved",)) == before


@pytest.fixture(scope="module")
def said():
    """What another process says of a run, in its own surroundings."""
    here = str(Path(__file__).parent)
    script = f"import sys; sys.path.insert(0, {here!r}); from test_surroundings import page; "
    script += "print(ascii(page('jar_5_starved')))"

    def of(**around):
        plain = {key: value for key, value in os.environ.items() if key not in ("TZ", "LC_ALL", "LANG")}
        call = [sys.executable, "-c", script]
        return subprocess.run(call, check=True, env=plain | around, capture_output=True).stdout

    return of


def test_the_clock_and_the_language_of_the_machine_change_nothing(said):
    """The same to the last digit, wherever the machine stands and whatever it speaks."""
    plain = said()
    assert plain == said(TZ="Pacific/Apia", LC_ALL="tr_TR.UTF-8")
    assert plain == said(TZ="nonsense", LC_ALL="de_DE@euro", LANG="xx", PYTHONUTF8="0", PYTHONHASHSEED="7")


def test_a_file_of_newlines_is_refused_before_it_is_read():
    """As large as a table may be, and nothing in it: no list of 24 million empty rows is made."""
    import tracemalloc

    tracemalloc.start()
    with pytest.raises(fk.InputError):
        read_table(b"\n" * LARGEST_BYTES, "gas.csv", TABLES["gas"])
    held = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert held < 6 * LARGEST_BYTES
