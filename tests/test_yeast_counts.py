"""Yeast during the run: counted under a grid, read as cloudiness, and what both tell of the batch."""

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.batch.estimate import Mark
from fermkit.calibration.turbidity import dry_weight_line
from fermkit.growth.yeast_counts import between_readings, count_cells, doublings
from fermkit.run.batch_in_time import readings_in_time
from fermkit.run.yeast_seen import Way
from fermkit.show.report import html_report

SETTINGS = {
    "run": {"name": "pot", "state": "used up"}, "vessel": {"liquid": "2.0 L", "total": "3 L"},
    "feed": [{"ingredient": "white sugar", "amount": "140 g"}], "gas": [{"kind": "collected volume"}],
    "inoculum": {"ingredient": "active dry yeast", "amount": "5 g"},
}  # fmt: skip
GAS = {"time [h]": [0, 6, 12, 24, 30, 40], "volume [mL]": [0, 1500, 9000, 28000, 31000, 31200]}
COUNTS = {"time [h]": [0.2, 0.2, 6, 12, 24, 40], "cells": [150, 161, 180, 233, 260, 255],
          "squares": [25, 25, 16, 10, 10, 10], "dead": [20, 18, 12, 10, 14, 20], "dilution": [20] * 6}  # fmt: skip
CLOUDY = {"time [h]": [0.2, 6, 12, 24, 40], "optical density": [0.35, 0.46, 0.55, 0.60, 0.61],
          "dilution": [10, 10, 20, 20, 20]}  # fmt: skip
LINE = {"dry [g/L]": [0, 0.1, 0.2, 0.3, 0.4, 0.5], "optical density": [0.003, 0.162, 0.321, 0.478, 0.642, 0.799]}


def pot(more=None, **tables):
    """140 g of sugar, 5 g of yeast, and what was read."""
    return fk.analyse(fk.run_from(SETTINGS | (more or {}), {"gas": GAS, **tables}), curve="gompertz")


def test_a_count_is_as_good_as_its_cells():
    """Four times the cells halve the ± of the counting; a second filling that of the filling."""
    few, many = (count_cells(n, 25, u_filling=1e-9).per_mL for n in (100, 400))
    assert uncertainty(few) / nominal(few) == pytest.approx(0.1)
    assert uncertainty(many) / nominal(many) == pytest.approx(0.05)
    once, twice = (count_cells([1e6] * n, [25] * n).per_mL for n in (1, 2))
    assert uncertainty(once) / uncertainty(twice) == pytest.approx(2**0.5, rel=0.01)


def test_fillings_that_differ_beyond_counting_widen_the_count():
    """80 and 160 cells in equal squares are no two counts of one sample."""
    even, uneven = count_cells([118, 122], [25, 25]), count_cells([80, 160], [25, 25])
    assert even.uneven_p > 0.5 and not even.doubts()
    assert uneven.uneven_p < 0.001 and uneven.doubts()
    assert uncertainty(uneven.per_mL) > 2 * uncertainty(even.per_mL)


def test_the_counting_error_holds_on_squares_drawn_at_random():
    """Of 1000 counts of a known suspension 95 % lie within 1.96 ±."""
    rng = np.random.default_rng(7)
    true = 5.0 / 4.0 * 1e6  # five cells a square of 4 nL, in a mL
    held = 0
    for _ in range(1000):
        fillings = rng.normal(1.0, 0.05, 2)
        found = count_cells(rng.poisson(5.0 * 16 * fillings), [16, 16]).per_mL
        held += abs(nominal(found) - true) < 1.96 * uncertainty(found)
    assert 0.93 < held / 1000 < 0.97


@pytest.mark.parametrize(
    ("cells", "squares", "dead", "words"),
    [(3.5, 25, None, "cells: 3.5"), (0, 25, None, "0 cells in 25 squares"), (10, 0, None, "10 cells in 0 squares"),
     (10, 25, 12, "12 dead cells among 10")],
)  # fmt: skip
def test_what_is_no_count_is_refused(cells, squares, dead, words):
    """Broken cells, none at all, no square, more dead than all."""
    with pytest.raises(InputError, match=words):
        count_cells(cells, squares, dead=dead)


def test_yeast_that_is_mostly_dead_is_said():
    """60 of 100 stained."""
    assert len(count_cells(100, 25, dead=60).doubts()) == 1
    assert not count_cells(100, 25, dead=5).doubts()
    assert count_cells(100, 25, dead=0).alive_limits[1] == 1.0


def test_what_all_readings_share_falls_out_of_the_growth():
    """The mass of a cell is doubtful by half, the growth is not."""
    from uncertainties import ufloat

    cell, (a, b) = ufloat(40, 20), (ufloat(10, 0.5), ufloat(40, 2))
    own, shared = between_readings([0, 5], [a, b]), between_readings([0, 5], [a * cell, b * cell])
    assert nominal(own[0].per_h) == pytest.approx(np.log(4) / 5)
    assert uncertainty(shared[0].per_h) == pytest.approx(uncertainty(own[0].per_h))
    assert "2.00" in doublings([a, b])


def test_a_line_bends_only_where_the_standards_do():
    """A straight series has no bend; a saturating one is followed and told."""
    x = np.array([0, 0.2, 0.5, 1.0, 1.5, 2.0])
    noise = np.array([0.004, -0.003, 0.002, -0.004, 0.003, -0.001])
    assert dry_weight_line(x, 1.6 * x + noise).bends_at is None
    bent = dry_weight_line(x, 1.6 * x - 0.2 * x**2 + noise)
    assert nominal(bent.bends_at[0]) == pytest.approx(0.8, rel=0.1)  # s b/c = 0.1 · 1.6/0.2
    assert nominal(bent.read(1.4, dilution=10).value) == pytest.approx(10.0, rel=0.02)  # 1.6 − 0.2 = 1.4 at 1 g/L


def test_counts_and_cloudiness_are_readings_of_the_batch():
    """Both ways, at the start and when grown, narrow the yeast; its mark becomes measured."""
    bare, seen = pot(), pot(counts=COUNTS, turbidity=CLOUDY, turbidity_standards=LINE)
    kinds = [reading.kind for reading in seen.estimate.readings]
    assert kinds.count("yeast at the start") == 2 and {"cell count", "optical density"} <= set(kinds)
    assert seen.estimate["yeast"].u < 0.6 * bare.estimate["yeast"].u
    assert seen.estimate["yeast"].mark is Mark.MEASURED and bare.estimate["yeast"].mark is not Mark.MEASURED
    words = html_report(seen)
    assert "Yeast by cell count" in words and "Optical density against dry weight" in words


def test_yeast_seen_before_it_had_grown_is_no_reading_of_the_end():
    """The last count at 6 h, when a twentieth of the gas had come: only the start counts."""
    early = {title: cells[:3] for title, cells in COUNTS.items()}
    kinds = [reading.kind for reading in pot(counts=early).estimate.readings]
    assert "yeast at the start" in kinds and "cell count" not in kinds


def test_cloudiness_without_a_line_gives_growth_and_no_grams():
    """No standards: no reading of the estimate, but the growth between readings."""
    found = pot(turbidity=CLOUDY)
    assert all(one.grams_L is None for one in found.yeast_seen)
    assert "optical density" not in [reading.kind for reading in found.estimate.readings]
    rates = found.yeast_course.intervals[Way.CLOUDY]
    # optical densities 0.46 and 0.55, diluted 10 and 20 times, 6 h apart
    assert nominal(rates[1].per_h) == pytest.approx(np.log(2 * 0.55 / 0.46) / 6)


def test_a_reading_beyond_the_line_costs_itself_only():
    """One undiluted reading is told and gives no grams; the others do."""
    one_dense = CLOUDY | {"optical density": [0.35, 0.46, 2.5, 0.60, 0.61]}
    found = pot(turbidity=one_dense, turbidity_standards=LINE)
    grams = [one.grams_L for one in found.yeast_seen]
    assert grams[2] is None and all(g is not None for i, g in enumerate(grams) if i != 2)
    assert found.yeast_seen[2].doubts


def test_the_batch_in_time_takes_yeast_by_both_ways():
    """Two series of yeast, of which the counts share the mass of a cell."""
    found = pot(counts=COUNTS, turbidity=CLOUDY, turbidity_standards=LINE)
    yeast = [one for one in readings_in_time(found, 2.0) if one.kind == "yeast"]
    assert [len(one.time_h) for one in yeast] == [5, 5]
    assert yeast[0].u_common > 0.3 and yeast[1].u_common == 0
    own = pot({"yeast": {"cell_mass": "42 ± 3 pg"}}, counts=COUNTS)
    assert next(one.u_common for one in readings_in_time(own, 2.0) if one.kind == "yeast") == pytest.approx(3 / 42)


def test_a_wrong_square_is_said():
    """Counts that would be more yeast than the sugar can feed are impossible, and not used."""
    found = pot({"yeast": {"square": "0.1 nL"}}, counts=COUNTS)
    assert found.consistent is False
    assert "cell count" in [reading.kind for reading in found.estimate.left_out]


def test_a_usual_share_without_readings_is_what_is_told():
    """Diluting is good to 2 % where nobody said more, as the list of keys says."""
    from fermkit.run.sections_liquid import Ethanol
    from fermkit.run.sections_yeast import YeastSection

    assert Ethanol().or_usual("u_pipetting", ()) == pytest.approx(0.02)
    assert YeastSection().or_usual("u_dilution", ()) == pytest.approx(0.03)
