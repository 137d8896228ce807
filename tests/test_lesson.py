"""What is said to a class: plans that sum up, questions whose answers hold, slides and pages that give nothing away."""

import re
from pathlib import Path

import make_notebooks
import pytest

from fermkit.matter.composition import molar_mass
from fermkit.teach.classes import make_class
from fermkit.teach.lesson import FIVE, GLOSSARY, PLANS, slides

LESSON = Path(__file__).resolve().parent.parent / "notebooks" / "workshop"


def words_for_students():
    """Everything that the lessons say to students."""
    parts = [p.read_text(encoding="utf-8") for p in sorted((LESSON / "source").glob("*.lesson"))]
    return "\n".join(re.sub(r"(?ms)^~~~ teacher.*?(?=^~~~|\Z)", "", part) for part in parts)


def test_what_the_lesson_teaches_is_in_it():
    """Phases on one's own curve, a fitted standard line read back, two moles of CO2, pressure: each asked or run."""
    text = " ".join(words_for_students().split())
    for taught in ("*Lag*", "*Exponential*", "*Stationary*", "fit_calibration", "line.read", "a third, one, two or six",
                   "closure()", "analysis.pressure", "had been closed?** Never do it"):  # fmt: skip
        assert taught in text, taught


@pytest.mark.parametrize("word", ["posterior", "half-normal", "chi²", "chi-squared", "covariance", "prior", "p-value"])
def test_words_for_sixteen_year_olds(word):
    """Statistics stand behind 'more', and on no page of the students."""
    page = (LESSON.parent.parent / "fermkit" / "teach" / "student_page.html").read_text(encoding="utf-8")
    assert word not in words_for_students().lower() and word not in page.lower()


@pytest.mark.parametrize("minutes", PLANS)
def test_a_plan_sums_to_its_minutes(minutes):
    """90 are 90 and 45 are 45, as the teacher's page prints them, too."""
    assert sum(m for m, _, _ in PLANS[minutes]) == minutes
    page = (LESSON / "teachers_page.md").read_text(encoding="utf-8")
    part = page.partition(f"## {minutes} minutes")[2].partition("\n## ")[0]
    assert sum(map(int, re.findall(r"(?m)^\| (\d+) \|", part))) == minutes


def test_each_lesson_takes_the_minutes_of_the_plan():
    """What stands at the head of notebooks 1 to 3 is what the plan gives them."""
    for number, row in zip((1, 2, 3), PLANS[90][1:4]):
        text = next((LESSON / "source").glob(f"{number}_*.lesson")).read_text(encoding="utf-8")
        assert f"**{row[0]} minutes.**" in text


def test_the_teachers_page_is_what_its_source_makes():
    """Plans, questions, words and cautions are those of the library; no place is left open."""
    page = (LESSON / "teachers_page.md").read_text(encoding="utf-8")
    assert page == make_notebooks.teachers_page() and "<!--" not in page
    assert all(word in page and means in page for word, means in GLOSSARY)
    assert len(FIVE) == 5 and all(asked in page for asked, _ in FIVE)


def test_the_teachers_page_is_in_the_class_and_in_the_readme(tmp_path):
    """`make` puts it beside the key, the README links it; it speaks to Windows, and its costs sum up."""
    kit = make_class(1, tmp_path / "class")
    page = (kit.teacher / "teachers_page.md").read_text(encoding="utf-8")
    assert page == (LESSON / "teachers_page.md").read_text(encoding="utf-8")
    readme = (LESSON.parent.parent / "README.md").read_text(encoding="utf-8")
    assert "(notebooks/workshop/teachers_page.md)" in readme
    assert "PowerShell" in page and r".venv\Scripts\python -m fermkit workshop make" in page
    costs = [float(cost) for cost in re.findall(r"(?m)^\| [^|*]+ \| [^|]+ \| (\d+) \|$", page)]
    assert costs and sum(costs) == float(re.search(r"\| \*together\* \| \| \*(\d+)\* \|", page)[1])


def test_the_carbon_dioxide_of_a_class():
    """Eight jars of 60 g of sugar: half of the hexose's mass leaves as CO2, which 150 m3 of air take up as 0.1 %."""
    grams = 8 * 60 * 2 * molar_mass("hexose") / molar_mass("sucrose") * 2 * molar_mass("CO2") / molar_mass("hexose")
    litres = grams / molar_mass("CO2") * 8.314 * 293.15 / 101.325
    page = (LESSON / "teachers_page.md").read_text(encoding="utf-8")
    said = re.search(r"about (\d+) g of CO2 in all, over days: ([\d.]+) % of its air", page)
    assert 0.85 * grams <= float(said[1]) <= grams
    assert float(said[2]) >= round(100 * litres / 150_000, 1)


def test_slides_give_nothing_away(tmp_path):
    """The slides for the wall are the same for every class; no address is in them, and the caution about closing is."""
    kits = [make_class(1, tmp_path / name) for name in ("one", "other")]
    texts = [(kit.teacher / "slides.html").read_text(encoding="utf-8").replace(kit.class_id, "") for kit in kits]
    assert texts[0] == texts[1]
    assert texts[0].count("<section>") == len(slides()) >= 10
    assert not re.search(r"(src|href)\s*=|https?://", texts[0]) and "can burst" in texts[0]
