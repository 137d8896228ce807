"""Results packed, sent and copied: the same numbers, and still correlated with one another."""

import copy
import pickle
from pathlib import Path

import numpy as np
import pytest
from uncertainties import covariance_matrix

import fermkit as fk

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"

WAYS = {"pickle": lambda result: pickle.loads(pickle.dumps(result)), "deepcopy": copy.deepcopy, "copy": copy.copy}


@pytest.fixture(scope="module")
def analysis():
    """One sample run, analysed."""
    return fk.analyse(fk.read_run(SAMPLES / "jar_3_closes"), curve="gompertz")


@pytest.mark.parametrize("way", WAYS.values(), ids=WAYS)
@pytest.mark.parametrize("name", ["run", "feed", "calibration", "drift", "gas", "harvest", "yeast", "balance"])
def test_a_result_survives(analysis, name, way):
    """Each part of an analysis prints the same afterwards."""
    assert str(way(getattr(analysis, name))) == str(getattr(analysis, name))


@pytest.mark.parametrize("way", WAYS.values(), ids=WAYS)
def test_correlations_survive(analysis, way):
    """Amounts and yields of a whole analysis have the same covariances as before."""

    def covariances(one):
        return np.array(covariance_matrix([*one.amounts.values(), *(found.per_g for found in one.yields.values())]))

    assert covariances(way(analysis)) == pytest.approx(covariances(analysis), rel=1e-9)


def test_a_copy_is_the_same_number_and_not_a_second_independent_one(analysis):
    """The opened part of a copied harvest over the paste of the original: the scale that both share still cancels."""
    copied, original = copy.deepcopy(analysis.harvest), analysis.harvest
    assert (copied.product_dry_g - original.product_dry_g).std_dev == 0
    mixed = copied.split_dry_g / original.product_dry_g
    assert mixed.std_dev == pytest.approx((original.split_dry_g / original.product_dry_g).std_dev)


def test_a_calibration_reads_the_same_after_a_journey(analysis):
    """A curve that was packed and unpacked gives the same content and the same interval."""
    line = analysis.calibration
    far = WAYS["pickle"](line)
    assert far.read([0.5]).interval() == pytest.approx(line.read([0.5]).interval())


def test_a_balance_reconciles_the_same_after_a_journey(analysis):
    """Streams, assumed by-products and all."""
    far = WAYS["pickle"](analysis.balance)
    assert far.reconcile().chi2 == pytest.approx(analysis.reconciliation.chi2)


@pytest.mark.parametrize("weights", ["equal", "proportional"])
def test_every_weighting_of_a_calibration_can_be_packed(weights):
    """Whatever law its scatter follows."""
    x = np.repeat([0.0, 0.2, 0.4, 0.6, 0.8, 1.0], 3)
    y = 0.05 + 0.8 * x + np.random.default_rng(1).normal(0, 0.004, x.size)
    line = fk.fit_calibration(x, y, weights=weights)
    assert str(WAYS["pickle"](line)) == str(line)
