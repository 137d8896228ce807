"""Groups that measured the same: what can be told of repeatability, and what cannot."""

import numpy as np
import pytest
from scipy import stats

from fermkit.basis.errors import InputError
from fermkit.basis.groups import pooled, precision
from fermkit.basis.statistics import cochran_critical, robust_mean


def test_a_group_of_wide_scatter_stands_apart_by_name():
    """Three groups within 0.01, a fourth whose duplicates lie 0.5 apart: it is named, by Cochran's test."""
    results = {"A": [3.30, 3.31], "B": [3.29, 3.30], "C": [3.31, 3.30], "D": [3.05, 3.55], "E": [3.30, 3.30]}
    page = str(precision(results, "% vol"))
    assert "Cochran" in page and "D" in page


def test_readings_all_alike_name_nobody():
    """A coarse display that shows one number for all: no group stands apart, and nothing is divided by zero."""
    found = precision({name: [3.3, 3.3] for name in "ABCD"}, "% vol")
    assert found.repeatability_sd == 0
    assert "Cochran" not in str(found) and "nan" not in str(found)


@pytest.mark.parametrize(
    ("results", "words"),
    [
        ({"A": [1.0, 1.1], "B": [1.0, 1.2]}, "2 groups with results"),
        ({"A": [1.0, 1.1], "B": [1.0, 1.2], "C": []}, "2 groups with results"),
        ({"A": [1.0], "B": [1.1], "C": [1.2]}, "all 3 groups measured once"),
    ],
)
def test_too_little_for_a_precision_is_refused(results, words):
    """Two groups, or nobody in duplicate: what was met is said, and that duplicates are needed."""
    with pytest.raises(InputError, match=words):
        precision(results, "% vol")


def test_one_group_has_no_largest_variance():
    """Cochran's test compares groups: one group, or single results, are refused."""
    with pytest.raises(InputError, match="1 groups with 2 results each"):
        cochran_critical(1, 2)
    with pytest.raises(InputError, match="5 groups with 1 results each"):
        cochran_critical(5, 1)


def test_the_critical_value_is_passed_once_in_twenty():
    """Simulated honest groups exceed Cochran's value in 5 % of classes."""
    rng = np.random.default_rng(8)
    variances = rng.normal(size=(20_000, 8, 3)).var(axis=2, ddof=1)
    passed = (variances.max(axis=1) / variances.sum(axis=1) > cochran_critical(8, 3)).mean()
    low, high = stats.binom(20_000, 0.05).interval(0.999)
    assert low < 20_000 * passed < high


def test_most_alike_still_have_a_robust_mean():
    """Four of six read the same on a coarse display: the mean lies between them and the rest, with a width."""
    mean, spread = robust_mean([3.3, 3.3, 3.3, 3.3, 3.5, 3.6])
    assert 3.3 < mean.n < 3.45 and 0 < spread < 0.2 and mean.s == pytest.approx(1.25 * spread / np.sqrt(6))


def test_estimates_without_an_uncertainty_are_not_pooled():
    """One group gives no ±: refused, with how many do."""
    with pytest.raises(InputError, match="3 estimates with 2 uncertainties above zero"):
        pooled([1.0, 1.1, 1.2], [0.1, 0.0, 0.1], "alcohol", "% vol")
