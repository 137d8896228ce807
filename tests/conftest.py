"""What several files of tests share: where the sample runs lie, and each of them analysed once."""

import json
from functools import cache
from pathlib import Path

import pytest

import fermkit as fk

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"


@cache
def _analysed(name):
    return fk.analyse(fk.read_run(SAMPLES / name))


@pytest.fixture(scope="session")
def samples():
    """The folder of the sample runs."""
    return SAMPLES


@pytest.fixture(scope="session")
def truths():
    """What truly happened in each sample run."""
    return json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def analysed():
    """`analysed("jar_3_closes")`: a sample run, analysed once for all tests."""
    return _analysed
