"""Cells in squares: what counting alone makes, and what clumps or a too tidy hand make of it."""

import numpy as np
import pytest
from scipy import stats

from fermkit.basis.errors import InputError
from fermkit.growth.cell_counts import counting_noise

RNG = np.random.default_rng(11)
HONEST = RNG.poisson(4.7, 200)
CLUMPED = RNG.poisson(RNG.gamma(1.5, 4.7 / 1.5, 200))
TIDY = np.tile([4, 5, 5, 4, 5], 40)


@pytest.mark.parametrize(
    ("counts", "word"),
    [
        (HONEST, "scatter as counting alone makes them"),
        (CLUMPED, "clumps, or a chamber filled unevenly"),
        (TIDY, "were some left out, or counts adjusted?"),
    ],
    ids=["honest", "clumped", "tidy"],
)
def test_the_page_says_what_the_scatter_means(counts, word):
    """Poisson counts, over-dispersed ones and counts too alike each get their own sentence, and the mean is shown."""
    page = str(counting_noise(counts))
    assert word in page
    assert f"{counts.mean():.2f} ± " in page


def test_clumps_make_the_mean_less_sure():
    """Where squares scatter more than by counting, u(mean) is that of the squares seen, not of Poisson's law."""
    clumped, honest = counting_noise(CLUMPED).mean, counting_noise(HONEST).mean
    assert clumped.s == pytest.approx(CLUMPED.std(ddof=1) / np.sqrt(200))
    assert honest.s == pytest.approx(np.sqrt(HONEST.mean() / 200))


def test_cells_to_count_for_five_percent():
    """Four hundred cells tell the mean to 5 %: the relative scatter of a Poisson number is one over its root."""
    assert counting_noise(HONEST).to_know_it_to(0.05) == 400
    assert stats.poisson(400).std() / 400 == pytest.approx(0.05)


def test_a_few_cells_in_few_squares_have_no_test_of_the_law():
    """With classes too few for a chi-square the page leaves the line out instead of printing a number."""
    few = counting_noise([0, 0, 0, 0, 0, 0, 0, 0, 0, 1])
    assert few.fit_dof <= 0
    assert "fit of Poisson's law" not in str(few) and "nan" not in str(few)


def test_the_law_is_tested_over_classes_of_five_expected_squares():
    """The p-value of honest squares is spread evenly: 5 % below 0.05, as often as a true test allows."""
    rng = np.random.default_rng(5)
    p = np.array([counting_noise(rng.poisson(4.7, 400)).fit_p for _ in range(600)])
    assert 0.025 < (p < 0.05).mean() < 0.085  # six in a thousand times outside if it is 5 %
    assert stats.kstest(p, "uniform").pvalue > 0.001


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ([3, 4, 2.5, 3, 3, 4, 5, 2, 1, 4], "a square holds 2.5 cells"),
        ([3, 4, -1, 3, 3, 4, 5, 2, 1, 4], "a square holds -1 cells"),
        ([0] * 12, "no cell in 12 squares"),
        ([3, 4], "cells in each square"),
    ],
)
def test_what_is_no_count_is_refused(counts, words):
    """Broken and negative cells, an empty chamber and too few squares are refused with what was met."""
    with pytest.raises(InputError, match=words):
        counting_noise(counts)
