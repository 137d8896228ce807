"""One part of a run left out or spoilt costs at most itself: no other exception, no stumble, no bare nan."""

import runpy
from pathlib import Path

import pytest

BENCHMARK = Path(__file__).parent / "benchmarks" / "leave_one_out.py"
STUDY = runpy.run_path(str(BENCHMARK))


@pytest.fixture(scope="module", params=["jar_3_closes", "room air"])
def run(request):
    """A sample run; and one with every key and column, whose gas went into a room."""
    return STUDY["whole"](request.param)


def wrong(cases, every=1):
    """What went wrong in each so many-th case."""
    found = [(what, STUDY["tried"](settings, tables)) for what, settings, tables in list(cases)[::every]]
    assert {end for _, (end, _) in found} >= {"analysed", "refused"}
    return [(what, each) for what, (_, each) in found if each]


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_each_part_left_out(run):
    """One of two, or of seven, sections, keys, files, columns, thirds of the rows."""
    assert not wrong(STUDY["left_out"](*run), 2 if len(run[0]) < 14 else 7)


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_each_value_spoilt(run):
    """Nought, below nought, beyond reason, another kind: one of 41, the rest in the benchmark."""
    assert not wrong(STUDY["spoilt"](*run), 41)
