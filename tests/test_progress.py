"""How a run stands while it goes on: lagging, growing, slowing, stuck or gas lost, done; and when."""

import numpy as np
import pytest

from fermkit.basis.errors import InputError
from fermkit.batch.progress import Stage, progress

TOTAL = 60.0
EXPECTED = (56.0, 60.0, 64.0)
U = 0.3


def sigmoid(hours, stops_at=1.0, half=34.0, steep=3.3):
    """A Hill curve, no curve of the library's: half of the gas at 34 h, with the readings' ± on it."""
    rng = np.random.default_rng(7)
    time = np.arange(0.0, hours + 0.01, 1.0)
    level = TOTAL * (time / half) ** steep / (1 + (time / half) ** steep) / (1 - 0.02)
    return time, np.minimum(level, TOTAL * stops_at) + U * rng.standard_normal(time.size)


@pytest.mark.parametrize("hours", [24, 29, 36])
def test_a_jar_at_a_third_to_a_half_of_its_gas_grows(hours):
    """At 24, 29 and 36 h, with a third to a half of the gas made, it is not lagging."""
    found = progress(*sigmoid(hours), U, EXPECTED)
    assert found.stage is Stage.GROWING
    assert found.share[0] < found.share[1] < found.share[2]


@pytest.mark.parametrize("hours", [72, 84, 120])
def test_flat_gas_at_71_per_cent_is_stuck_or_lost(hours):
    """Flat since about 41 h at 71 % of what the sugar gives: stuck, or gas lost; never 'slowing', never 'done'."""
    found = progress(*sigmoid(hours, stops_at=0.71), U, EXPECTED)
    assert found.stage is Stage.STUCK
    assert found.share[1] == pytest.approx(0.71, abs=0.02)
    assert found.since_h == pytest.approx(45, abs=5)
    assert found.done_h is None


def test_it_lags_before_it_starts():
    """In the first hours nothing is shown."""
    assert progress(*sigmoid(6), U, EXPECTED).stage is Stage.LAGGING


def test_it_slows_and_is_done():
    """Past its middle it slows; flat at what the sugar gives it is done."""
    time, gas = sigmoid(60)
    assert progress(time, gas, U, EXPECTED).stage is Stage.SLOWING
    rest = np.arange(61.0, 121.0)
    gas = np.append(np.minimum(gas, 58.0), np.full(rest.size, 58.0))
    assert progress(np.append(time, rest), gas, U, EXPECTED).stage is Stage.DONE


def test_when_it_is_done_has_an_interval_that_holds():
    """The hours told at 36 h hold the hour at which 95 % was made, for three shapes of curve."""
    for steep in (2.5, 3.3, 5.0):
        long_time, long_gas = sigmoid(400, steep=steep)
        true = long_time[np.argmax(long_gas > 0.95 * TOTAL)]
        first, last = progress(*sigmoid(36, steep=steep), U, EXPECTED).done_h
        assert first <= true <= last


def test_readings_once_a_day_are_enough():
    """Sparse readings give the stage too."""
    found = progress([0, 24, 48, 72, 96], [0, 19, 40, 42.5, 42.6], U, EXPECTED)
    assert found.stage in (Stage.STUCK, Stage.SLOWING)
    assert progress([0, 24, 48, 72, 96, 120], [0, 19, 40, 42.5, 42.6, 42.6], U, EXPECTED).stage is Stage.STUCK


def test_an_expectation_that_falls_is_refused():
    """Low, best and high in this order."""
    with pytest.raises(InputError, match="rise"):
        progress([0, 1], [0, 1], U, (3.0, 2.0, 1.0))
