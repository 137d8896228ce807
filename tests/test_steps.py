"""The list of results: each line has its field, what fails costs itself only, and nothing ends in a traceback."""

import inspect
from dataclasses import fields, replace
from pathlib import Path

import pytest

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.run import analysis as analysing
from fermkit.run.analysis import Analysis, analyse
from fermkit.run.steps import STEPS
from fermkit.show.report import PICTURES

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"
ONLY_ON_THE_WAY = {"sample_rows", "gas_by_route", "vessel"}
"""Results that later steps use and nobody asks for."""


@pytest.fixture(scope="module")
def run():
    """The jar with two routes to its gas."""
    return fk.read_run(SAMPLES / "jar_3_closes")


def test_every_result_has_its_field_and_every_field_its_line():
    """A line without a typed field would be lost, a field without a line never filled."""
    listed = {step.name for step in STEPS} - ONLY_ON_THE_WAY
    typed = {field.name for field in fields(Analysis)} - {"run", "gaps"}
    assert listed == typed, f"lines without a field: {listed - typed}; fields without a line: {typed - listed}"
    assert set(PICTURES) <= listed


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_a_line_asks_only_for_what_comes_before_it_and_its_function_takes_that(step):
    """Each need is the run, the curve, or an earlier line; the function takes as many arguments as are given."""
    before = {"run", "curve", *(other.name for other in STEPS[: STEPS.index(step)])}
    needs = [name.rstrip("?") for name in step.needs.split()]
    assert {name.split(".")[0] for name in [*needs, *([step.each] if step.each else [])]} <= before
    inspect.signature(step.work).bind(*[None] * (len(needs) + bool(step.each)))


@pytest.mark.parametrize("problem", [InputError("met", "needed", "do"), ZeroDivisionError("by zero"), KeyError("x")])
@pytest.mark.parametrize("name", ["feed", "calibration", "gas", "harvest", "balance", "yields"])
def test_a_step_that_fails_costs_that_step_only(run, monkeypatch, name, problem):
    """Whatever it raises: its own result is missing, it is said, what does not need it is there, and all prints."""

    def fails(*_):
        raise problem

    steps = tuple(replace(step, work=fails) if step.name == name else step for step in STEPS)
    monkeypatch.setattr(analysing, "STEPS", steps)
    found = analyse(run, curve="gompertz")
    assert not getattr(found, name)
    title = next(step.title for step in STEPS if step.name == name)
    assert any(gap.startswith(title) for gap in found.gaps)
    assert found.hold is not None and str(found)


def test_one_bad_route_to_the_gas_costs_that_route_only(run):
    """The scale's display stood still for the whole run: the collector's gas is told all the same."""
    name = next(route.table for route in run.gas if route.kind == "vessel weight")
    still = run.tables[name].assign(weight_g=2500.0) if "weight_g" in run.tables[name] else None
    assert still is not None
    found = analyse(replace(run, tables={**run.tables, name: still}), curve="gompertz")
    assert [curve.kind for curve in found.gas] == ["volume"] or found.gas[0].kind == "volume"
    assert "co2_yield" in found.yields


def test_three_routes_are_each_held_against_the_first(run):
    """A third route is compared like the second."""
    third = replace(run.gas[0])
    found = analyse(replace(run, gas=(*run.gas, third)), curve="gompertz")
    assert len(found.routes.others) == 2


@pytest.mark.parametrize("name", sorted(path.name for path in SAMPLES.iterdir() if (path / "run.toml").exists()))
def test_no_sample_run_meets_a_mistake_of_ours(name):
    """The words for an unforeseen exception stand in no gap and on no page of the sample runs."""
    found = analyse(fk.read_run(SAMPLES / name), curve="gompertz")
    assert not [gap for gap in found.gaps if "stumbled" in gap]
    said = [(name, remark) for name, page in found.sections() for remark in page.remarks if "stumbled" in remark]
    assert not said, "a result is `Written` with a page(), or its line in run/steps.py says `pages=`"
