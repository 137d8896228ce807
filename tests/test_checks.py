"""Bad input is refused in one clear sentence with the value met."""

import numpy as np
import pytest

from fermkit.basis import checks
from fermkit.basis.errors import InputError


def test_numbers_are_copied():
    """The caller's readings are never written to."""
    readings = np.array([1.0, 2.0])
    copy = checks.numbers(readings, "volume [mL]")
    copy[0] = 9.0
    assert readings[0] == 1.0


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ([1.0, np.inf], "inf in row 2"),
        ([np.nan], "missing in row 1"),
        ([1e31], "1e\\+31 in row 1"),
        (["a"], "not a number"),
        ([[1.0, 2.0]], r"shape \(1, 2\)"),
        ([], "holds 0 values"),
        (3.0, r"shape \(\)"),
    ],
)
def test_numbers_refuses(value, words):
    """Each kind of bad series has its own message."""
    with pytest.raises(InputError, match=words):
        checks.numbers(value, "volume [mL]")


def test_missing_may_be_kept_but_never_infinite():
    """A missing reading can be allowed; an infinite one cannot."""
    assert np.isnan(checks.numbers([1.0, np.nan], "x", missing="keep")[1])
    with pytest.raises(InputError, match="row 2"):
        checks.numbers([1.0, np.inf], "x", missing="keep")


def test_same_length_names_each_series():
    """The message says how long each series is."""
    with pytest.raises(InputError, match="time has 2, volume has 3"):
        checks.same_length(time=[1, 2], volume=[1, 2, 3])


def test_rising_names_the_row():
    """The first row that goes back is named with both values."""
    with pytest.raises(InputError, match=r"is 1 in row 3, after 2 in row 2"):
        checks.rising(np.array([0.0, 2.0, 1.0]), "time [h]")
    checks.rising(np.array([0.0, 1.0, 1.0]), "volume [mL]", strictly=False)


def test_scalars():
    """Ranges, signs and words are checked, and NaN never passes."""
    with pytest.raises(InputError, match=r"temperature \[°C\] is 120"):
        checks.between(120, 0, 60, "temperature [°C]")
    with pytest.raises(InputError, match="above zero"):
        checks.positive(float("nan"), "volume [mL]")
    with pytest.raises(InputError, match="zero or more"):
        checks.not_negative(-1.0, "volume [mL]")
    with pytest.raises(InputError, match="did you mean 'gompertz'"):
        checks.one_of("gomperz", ("logistic", "gompertz"), "curve")
    with pytest.raises(InputError, match="choose a word"):
        checks.one_of("xyz", ("logistic", "gompertz"), "curve")


def test_what_a_mask_hides_is_no_reading():
    """The number under the mask does not count."""
    masked = np.ma.MaskedArray([1.0, 99.0, 3.0], mask=[False, True, False])
    assert np.isnan(checks.numbers(masked, "volume [mL]", missing="keep")[1])
    with pytest.raises(InputError, match="row 2"):
        checks.numbers(masked, "volume [mL]")


@pytest.mark.parametrize("stamps", [["2026-03-02", "2026-03-03"], None])
def test_time_stamps_are_no_hours(stamps):
    """Days since 1970 in nanoseconds would pass for hours."""
    value = np.array([1, 2], dtype="m8[h]") if stamps is None else np.array(stamps, dtype="M8[s]")
    with pytest.raises(InputError, match="dates or spans of time"):
        checks.numbers(value, "time [h]")
