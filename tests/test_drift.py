"""Standards before and after, day by day; and what surrounds the sensor."""

import numpy as np
import pytest
from uncertainties import covariance_matrix, ufloat

from fermkit.basis.budget import Act
from fermkit.basis.errors import InputError
from fermkit.calibration.calibrate import fit_calibration
from fermkit.calibration.drift import DRIFT, bracket, same_curve
from fermkit.calibration.readback import PIPETTING, REPLICATES
from fermkit.calibration.surroundings import HEAT_OF_ESCAPE_K, vapour_ratio

X = np.repeat([0.0, 2.0, 4.0, 6.0, 8.0, 10.0], 2)


def day(gain=1.0, seed=0, sd=0.02, **options):
    """A calibration whose sensor has this gain."""
    rng = np.random.default_rng(seed)
    return fit_calibration(X, 0.1 + gain * 0.3 * X + sd * rng.standard_normal(X.size), **options)


def test_a_steady_sensor_shows_no_drift():
    """Two calibrations of one sensor differ about 5 times in 100."""
    p = np.array([same_curve(day(1.0, s), day(1.0, s + 10_000)).p for s in range(300)])
    assert 0.02 < (p < 0.05).mean() < 0.09


def test_drift_is_found_and_corrected():
    """A sensor that lost a tenth: found, and a sample halfway is read in between with the drift in its budget."""
    pair = bracket(day(1.0, 1), day(0.9, 2), time_before_h=0, time_after_h=4)
    assert pair.drift.passed is False
    assert "the sensor drifted" in str(pair)
    reading = pair.read(0.1 + 0.95 * 0.3 * 5.0, time_h=2)
    assert reading.value.n == pytest.approx(5.0, abs=0.15)
    assert reading.before.value.n < 5.0 < reading.after.value.n
    assert np.mean(reading.interval()) == pytest.approx(reading.value.n)
    assert DRIFT in reading.budget().acts
    assert pair.shift.n == pytest.approx(-0.5, abs=0.15)


def test_at_either_end_a_drifting_sensor_is_on_that_end_s_curve():
    """At the time of the first standards the drift adds nothing; in the middle it adds most."""
    pair = bracket(day(1.0, 1), day(0.9, 2), time_before_h=0, time_after_h=4)
    u = [pair.read(1.5, time_h=t).value.s for t in (0, 1, 2, 3, 4)]
    assert pair.read(1.5, time_h=0).value.s == pytest.approx(pair.before.read(1.5).value.s, rel=1e-6)
    assert u[2] == max(u)
    for time_h, end in ((0, pair.before), (4, pair.after)):
        alone = end.read([1.5, 1.52])
        found = pair.read([1.5, 1.52], time_h=time_h).degrees_of_freedom
        assert found == pytest.approx(alone.degrees_of_freedom, rel=1e-3)


def test_read_backwards_in_time_a_bracket_says_the_same():
    """First and second set exchanged, an hour after the one is an hour before the other: content, ± and its freedom."""
    one, other = day(1.0, 1, sd=0.03), day(0.95, 2, sd=0.01)
    forth = bracket(one, other, time_before_h=0, time_after_h=4).read([1.5, 1.52], time_h=1)
    back = bracket(other, one, time_before_h=0, time_after_h=4).read([1.5, 1.52], time_h=3)
    assert back.value.n == pytest.approx(forth.value.n)
    assert back.value.s == pytest.approx(forth.value.s)
    assert back.degrees_of_freedom == pytest.approx(forth.degrees_of_freedom)


def test_intervals_between_two_sets_hold_the_truth_for_any_path():
    """A sensor that drifts linearly or all at once: the intervals hold at least 93 % of the time."""
    rng = np.random.default_rng(3)
    for path in ("even", "sudden"):
        held = 0
        for seed in range(400):
            lost = 0.05 * rng.standard_normal()
            t = rng.uniform(0, 4)
            gone = lost * t / 4 if path == "even" else lost * (t > rng.uniform(0, 4))
            pair = bracket(day(1, seed), day(1 + lost, seed + 9000), time_before_h=0, time_after_h=4)
            low, high = pair.read(0.1 + (1 + gone) * 1.5 + 0.02 * rng.standard_normal(), time_h=t).interval()
            held += low <= 5.0 <= high
        assert held / 400 > 0.93, path


def test_a_bracket_shares_the_sample_s_own_errors():
    """Scatter and pipetting of the sample count once, not as if the two curves had read two samples."""
    pair = bracket(day(1, 1), day(1, 2), time_before_h=0, time_after_h=2)
    reading = pair.read([1.5, 1.55], time_h=1, dilution=10, u_pipetting=0.05)
    budget = dict(zip(reading.budget().acts, reading.budget().contributions))
    assert budget[PIPETTING] == pytest.approx(0.05 * reading.value.n, rel=0.01)
    assert budget[REPLICATES] == pytest.approx(10 * 0.02 / 0.3 / np.sqrt(2), rel=0.5)


def test_brackets_that_make_no_sense_are_refused():
    """Times in the wrong order, samples outside the bracket, curves of two kinds."""
    one, two = day(1, 1), day(1, 2)
    with pytest.raises(InputError, match="a second set later than the first"):
        bracket(one, two, time_before_h=3, time_after_h=1)
    with pytest.raises(InputError, match="time_h is 5"):
        bracket(one, two, time_before_h=0, time_after_h=2).read(1.5, time_h=5)
    bent = fit_calibration(one.ethanol_pct_vol, one.signal, curve="quadratic")
    with pytest.raises(InputError, match="two of one kind"):
        bracket(one, bent, time_before_h=0, time_after_h=2)


def test_vapour_of_a_warm_sample_is_corrected_with_its_uncertainty():
    """A sample 2 K warmer reads 13 to 15 % too much; corrected it comes out right, and says so."""
    cal = day(1, 1, sd=0.005, temperature_C=20.0)
    plain = cal.read(1.6, temperature_C=20.0)
    warm = cal.read(1.6, temperature_C=22.0)
    assert plain.value.n / warm.value.n == pytest.approx(vapour_ratio(22.0, 20.0).n)
    assert HEAT_OF_ESCAPE_K.tag in warm.budget().acts
    assert "corrected for it" in str(warm)
    assert plain.remarks == ()
    doubtful = cal.read(1.6, temperature_C=ufloat(22.0, 0.5, tag="the thermometer"))
    assert doubtful.budget().acts[0] == Act("the thermometer")
    assert doubtful.value.s / doubtful.value.n == pytest.approx(0.5 * 0.068, rel=0.1)


def test_standards_at_several_temperatures_come_to_one():
    """Warm standards smell stronger; brought to one temperature they lie on one line again."""
    rng = np.random.default_rng(4)
    warmth = np.tile([19.0, 21.0], 6)
    ratio = np.array([vapour_ratio(t, 20.0).n for t in warmth])
    y = 0.1 + 0.3 * X * ratio + 0.005 * rng.standard_normal(X.size)
    known, unknown = fit_calibration(X, y, temperature_C=warmth), fit_calibration(X, y)
    assert known.residual_sd < unknown.residual_sd / 5
    assert known.parameters["slope"].n == pytest.approx(0.3, abs=0.003)
    assert known.lack_of_fit.passed is not False


def test_temperatures_too_far_apart_are_refused_in_words():
    """Fifteen kelvin is the limit; an unknown temperature is said."""
    with pytest.raises(InputError, match=r"the sample is \+25.0 K"):
        day(1, 1, temperature_C=20.0).read(1.6, temperature_C=45.0)
    with pytest.raises(InputError, match="one standard is"):
        day(1, 1, temperature_C=np.linspace(0, 50, 12))
    with pytest.raises(InputError, match="temperature of the sample"):
        day(1, 1, temperature_C=20.0).read(1.6, temperature_C=295.0)
    assert day(1, 1, temperature_C=4.0).read(1.6, temperature_C=4.0).in_range  # straight from the cold room
    assert "temperature was not given" in str(day(1, 1, temperature_C=20.0).read(1.6))


def test_pages_of_several_calibrations_name_each():
    """The pages of a bracketed reading hold their words and numbers."""
    pair = bracket(day(1.0, 1), day(0.95, 2), time_before_h=0, time_after_h=4)
    text = str(pair.read([1.5, 1.52], time_h=1))
    for words in ("on the curve before", "on the curve after", "25%", "Uncertainty budget"):
        assert words in text
    apart = fit_calibration(X + 20, 0.3 * X, content_unit="g/L")
    with pytest.raises(InputError, match="no contents in common"):
        bracket(day(1, 1), apart, time_before_h=0, time_after_h=1)


def test_sets_of_standards_at_two_temperatures_agree_on_one_sample():
    """Standards at 20 and at 22 °C, the sample at 21 °C: each curve corrects by its own temperature."""
    late = 0.1 + 0.3 * X * vapour_ratio(22.0, 20.0).n
    before = fit_calibration(X, 0.1 + 0.3 * X + 0.001 * (-1) ** np.arange(12), temperature_C=20.0)
    after = fit_calibration(X, late + 0.001 * (-1) ** np.arange(12), temperature_C=22.0)
    pair = bracket(before, after, time_before_h=0, time_after_h=2)
    reading = pair.read(0.1 + 1.5 * vapour_ratio(21.0, 20.0).n, time_h=1.5, temperature_C=21.0)
    assert reading.before.value.n == pytest.approx(5.0, rel=1e-3)
    assert reading.value.n == pytest.approx(5.0, rel=1e-3)


def test_sets_at_unknown_times_are_told_as_such():
    """Nobody noted when: no hours are printed, and a sample is read half-way with the widest doubt."""
    before, after = day(1.0, 1), day(0.9, 2)
    unknown, known = bracket(before, after), bracket(before, after, time_before_h=0, time_after_h=4)
    assert " h" not in str(unknown).split("over", 1)[-1] and "over" in str(known) and "over" not in str(unknown)
    middle = known.read([1.5, 1.52], time_h=2)
    assert unknown.read([1.5, 1.52]).value.n == pytest.approx(middle.value.n)
    assert unknown.read([1.5, 1.52]).value.s == pytest.approx(middle.value.s)
    with pytest.raises(InputError, match="when it was read"):
        known.read([1.5, 1.52])


def test_a_corrected_content_follows_both_curves():
    """A later curve that starts higher finds less: it goes with the curve's own errors, times its share of the time."""
    before, after = day(1.0, 1), day(0.9, 2)
    found = bracket(before, after, time_before_h=0, time_after_h=4).read([1.5, 1.52], time_h=1)
    for curve, reading, share in ((before, found.before, 0.75), (after, found.after, 0.25)):
        intercept, slope = curve.parameters["intercept"], curve.parameters["slope"]
        together = np.array(covariance_matrix([found.value, intercept, slope]))
        expected = -share / slope.n * (together[1, 1] + reading.seen * together[1, 2])
        assert together[0, 1] == pytest.approx(expected, rel=1e-6)
