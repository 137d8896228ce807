"""Answers as people type them: numbers, ±, units, and everyday words for a mistake."""

import pytest

from fermkit.basis.errors import InputError
from fermkit.teach.answers import (
    FILE,
    QUESTION,
    Given,
    answers_from,
    as_asked,
    measured_of,
    mistake_named,
    read_answers,
)
from fermkit.teach.mishaps import NONE


@pytest.mark.parametrize(
    ("text", "name", "value", "u"),
    [
        ("1,19", "gas made", 1.19, None),
        ("1.19 mol", "gas made", 1.19, None),
        ("1.19 mol.", "gas made", 1.19, None),
        ("1190 mmol", "gas made", 1.19, None),
        ("≈ 1,2 mol CO2", "gas made", 1.2, None),
        ("(1,157 ± 0,014) mol", "gas made", 1.157, 0.014),
        ("1.157 ± 0.014 mol", "gas made", 1.157, 0.014),
        ("1.157 mol ± 0.014 mol", "gas made", 1.157, 0.014),
        ("1.157 mol +/- 2 %", "gas made", 1.157, 0.02314),
        ("1.157(14) mol", "gas made", 1.157, 0.014),
        ("75(5)", "largest rate", 75.0, 5.0),
        ("75 mmol h⁻¹", "largest rate", 75.0, None),
        ("75 mmol h-1", "largest rate", 75.0, None),
        ("75 mmol per hour", "largest rate", 75.0, None),
        ("75 ± 3 mmol/h.", "largest rate", 75.0, 3.0),
        ("0,104 mol/h", "largest rate", 104.0, None),
        ("3,5", "lag", 3.5, None),
        ("210 min", "lag", 3.5, None),
        ("3.5 ± 0.4 h", "lag", 3.5, 0.4),
        ("0.126 kg", "sugar", 126.0, None),
        ("52,345", "alcohol", 52.345, None),
        ("87 %", "carbon found", 87.0, None),
        ("3.5 %", "sample", 3.5, None),
        ("3.52 ± 0.03 % vol", "sample", 3.52, 0.03),
        ("−12.1", "yeast", -12.1, None),
        ("12.1 g yeast", "yeast", 12.1, None),
        ("11.9 g dry", "yeast", 11.9, None),
        ("11.9 g of dry yeast", "yeast", 11.9, None),
    ],
)
def test_answers_as_typed(text, name, value, u):
    """Decimal commas, units, brackets, two hands of ±, superscripts, full stops and a word for the stuff."""
    found = as_asked(text, QUESTION[name])
    assert found.value == pytest.approx(value)
    assert found.u == (None if u is None else pytest.approx(u))


@pytest.mark.parametrize("text", ["", "...", "?", "–".replace("–", "-"), "…"])
def test_what_is_left_open_is_no_answer(text):
    """Dots and dashes are nothing."""
    assert as_asked(text, QUESTION["lag"]) is None


@pytest.mark.parametrize(
    ("text", "name", "match"),
    [
        ("3 g", "lag", "another kind of unit"),
        ("3.3 % vol", "alcohol", "another kind of unit"),
        ("3.3 g", "sample", "another kind of unit"),
        ("about three", "lag", "one number"),
        ("3 ± -1 h", "lag", "one number"),
        ("3 or 4", "lag", "a number|one number|kind of unit"),
        ("1.2.3", "lag", "not a number"),
        ("9" * 200, "lag", "one number"),
    ],
)
def test_answers_that_cannot_be_read(text, name, match):
    """Refused with what is needed."""
    with pytest.raises(InputError, match=match):
        as_asked(text, QUESTION[name])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("leak", "leak"),
        ("It was a LEAK!", "leak"),
        ("gas got past the collector", "leak"),
        ("CO2 slip", "CO2 slip"),
        ("a third of a mole", "CO2 slip"),
        ("% vol as % mass", "% vol as % mass"),
        ("by volume instead of mass", "% vol as % mass"),
        ("the paste was not dry", "wet product"),
        ("diluted wrongly", "wrong dilution"),
        ("the sensor was saturated", "dead sensor range"),
        ("our watch was slow", "shifted clock"),
        ("forgot the water of hydrolysis", "sucrose as glucose"),
        ("none", NONE),
        ("No mistake.", NONE),
        ("everything is right", NONE),
        ("", None),
    ],
)
def test_mistakes_as_typed(text, expected):
    """In their own names, and in everyday words."""
    assert mistake_named(text) == expected


@pytest.mark.parametrize("text", ["leak or wet product", "gremlins"])
def test_two_mistakes_or_an_unknown_one_are_refused(text):
    """Naming everything is no answer."""
    with pytest.raises(InputError, match="mistake"):
        mistake_named(text)


def test_an_answer_given_twice_counts_once(tmp_path):
    """The last counts, and the group is told; mended numbers are kept apart."""
    (tmp_path / FILE).write_text("lag = 3.5\nlag = 4.0\nmended alcohol [g]: 50.1\n", encoding="utf-8")
    found = read_answers(tmp_path / FILE)
    assert found.number("lag") == Given(4.0) and found.number("alcohol", mended=True) == Given(50.1)
    assert found.number("alcohol") is None and len(found.notes) == 1


def test_a_line_that_nobody_knows_is_told():
    """It is quoted, and the rest is read."""
    found = answers_from("group: 3\nwe had fun\nlag [h]: 4\n")
    assert found.group == "3" and found.given["lag"] == "4" and "we had fun" in found.notes[0]


def test_measurements_are_found_in_a_sentence():
    """Several, in any order, with words between."""
    assert measured_of("Compare the clocks, then weigh the jar") == ("weigh the jar", "compare the clocks")
