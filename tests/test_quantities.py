"""Numbers with ± and units, as people write them."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fermkit.basis.budget import Act
from fermkit.basis.errors import InputError
from fermkit.basis.quantities import EVERYDAY, as_number, conversion, number, read_quantity


@pytest.mark.parametrize(
    ("text", "unit", "value", "u"),
    [
        ("3.00 ± 0.02 L", "L", 3.0, 0.02),
        ("3 L ± 20 mL", "L", 3.0, 0.02),
        ("1008 ± 2 hPa", "bar", 1.008, 0.002),
        ("28.0 ± 0.5 °C", "°C", 28.0, 0.5),
        ("301.15 ± 0.5 K", "°C", 28.0, 0.5),
        ("49 ± 1 %", "1", 0.49, 0.01),
        ("49±1%", "1", 0.49, 0.01),
        ("240 g ± 1 %", "g", 240.0, 2.4),
        ("4.8 +/- 0.2", "1", 4.8, 0.2),
        ("250 mL, tolerance 3 mL", "mL", 250.0, math.sqrt(3)),
        ("250 ± 1 mL; resolution 3 mL", "mL", 250.0, 2.0),
        ("1.042 g/mL", "kg/m3", 1042.0, 0.0),
        ("998 kg/m³", "kg/m3", 998.0, 0.0),
        ("0,45 ± 0,02 L", "mL", 450.0, 20.0),
        ("5.2 % vol", "% vol", 5.2, 0.0),
        ("−3 °C", "°C", -3.0, 0.0),
        ("1 234,5 g", "g", 1234.5, 0.0),
    ],
)
def test_a_written_quantity_is_read_in_the_wanted_unit(text, unit, value, u):
    """Value and standard uncertainty, whatever the hand that wrote them."""
    read = read_quantity(text, unit, "thing")
    assert read.value == pytest.approx(value, rel=1e-9)
    assert read.u == pytest.approx(u, rel=1e-9)


def test_an_interval_keeps_its_ends_and_is_rectangular():
    """0 to 2 % is 1 % ± 1/√3 %, with both ends kept."""
    read = read_quantity("0 to 2 %", "1", "loss")
    assert read.ends == (0.0, 0.02)
    assert read.u == pytest.approx(0.01 / math.sqrt(3))


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("2 teaspoon", "g", "cannot be turned into 'g'"),
        ("2.0", "L", "no unit stands with the number"),
        ("5 %", "% vol", "'%' cannot be turned into '% vol'"),
        ("5 ± -1 g", "g", "uncertainty is -1"),
        ("1,008 hPa", "bar", "1008 or as 1.008"),
        ("about ten g", "g", "'about ten g'"),
        ("1e400 g", "g", "not a number"),
        ("1 m**9999999", "L", r"'1 m\*\*9999999'"),
        ("5 g" + "!" * 200, "g", "thing is '5 g!!!"),
        ("12 3 g", "g", "not one number"),
    ],
)
def test_what_cannot_be_read_is_refused_with_the_text(text, unit, words):
    """The message repeats what was met."""
    with pytest.raises(InputError, match=words):
        read_quantity(text, unit, "thing")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1,234,567", 1234567.0),
        ("0,5", 0.5),
        ("'1'", None),
        ("1'234.5", 1234.5),
    ],
)
def test_thousands_and_decimals_are_told_apart(text, value):
    """The last sign splits the decimals; groups must be of three."""
    if value is None:
        with pytest.raises(InputError):
            number(text)
    else:
        assert number(text) == value


def test_a_tag_names_the_act():
    """An uncertain number says what was done to get it; a certain one is a plain float."""
    assert as_number(read_quantity("2 ± 1 g", "g", "x"), Act("weighing")).tag == Act("weighing")
    assert isinstance(as_number(read_quantity("2 g", "g", "x"), "weighing"), float)


@pytest.mark.parametrize(("unit", "to"), EVERYDAY)
def test_everyday_factors_are_those_of_the_unit_table(unit, to):
    """The short table that saves loading pint says what pint says."""
    pint = pytest.importorskip("pint")
    assert pint.UnitRegistry().convert(1.0, unit, to) == pytest.approx(EVERYDAY[unit, to], rel=1e-14)


def test_percent_by_volume_is_nothing_else():
    """% vol is never taken for a share, nor a share for % vol."""
    for pair in (("%", "% vol"), ("% vol", "1"), ("g/L", "% vol")):
        with pytest.raises(InputError, match="cannot be turned"):
            conversion(*pair)


@settings(max_examples=150, deadline=None)
@given(
    value=st.floats(-1e9, 1e9, allow_nan=False).map(lambda x: float(f"{x:.9g}")),
    u=st.floats(0, 1e6).map(lambda x: float(f"{x:.6g}")),
    unit=st.sampled_from(["g", "kg", "mg"]),
)
def test_what_is_written_reads_back(value, u, unit):
    """Any number with ± and unit survives being written and read."""
    text = f"{value:.12f} ± {u:.12f} {unit}"
    read = read_quantity(text, unit, "weight")
    assert read.value == pytest.approx(value, abs=1e-11)
    assert read.u == pytest.approx(u, abs=1e-11)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=160))
def test_any_text_is_read_or_refused(text):
    """No text makes it hang or fall over."""
    try:
        read_quantity(text, "g", "thing")
    except InputError as problem:
        assert problem.met and problem.needed and problem.do


def test_a_logarithmic_unit_is_refused():
    """A decibel is no multiple of a watt: a value ± on it would be wrong."""
    with pytest.raises(InputError, match="cannot be turned into 'W'"):
        read_quantity("3 dBm", "W", "power")


def test_nothing_give_or_take_a_percent_is_read():
    """A ± in percent behind a nought is no share of it: 0 ± 1 % lies within a hundredth."""
    found = read_quantity("0 ± 1 %", "1", "moisture left", possible=(0.0, 1.0))
    assert (found.value, found.u) == (0.0, 0.01)
