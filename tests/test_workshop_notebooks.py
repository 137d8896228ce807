"""The lesson's notebooks: one source makes both versions, and the answers in it earn every point."""

import json
import re
import shutil
from pathlib import Path

import make_notebooks
import nbclient
import nbformat
import pytest

from fermkit.basis.cautions import cautions_for
from fermkit.teach.answers import FILE, read_answers
from fermkit.teach.class_data import read_key
from fermkit.teach.classes import open_group
from fermkit.teach.marking import group_marks

LESSON = Path(__file__).resolve().parent.parent / "notebooks" / "workshop"


VERSIONS = make_notebooks.versions()
STUDENTS = [path for path in VERSIONS if path.parent == LESSON]
TEACHERS = [path for path in VERSIONS if path.parent != LESSON]


def sources(book):
    """Kind and text of every cell."""
    return [(cell["cell_type"], "".join(cell["source"])) for cell in book["cells"]]


@pytest.mark.parametrize("path", VERSIONS, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_a_notebook_is_what_its_source_makes(path):
    """Neither version can drift: every cell on disk is the one that the source gives."""
    assert sources(json.loads(path.read_text(encoding="utf-8"))) == sources(VERSIONS[path])


def test_no_notebook_is_without_a_source():
    """What lies in the folders is what the sources make, and nothing else."""
    assert {*LESSON.glob("*.ipynb"), *LESSON.glob("with_answers/*.ipynb")} == set(VERSIONS)


@pytest.mark.parametrize("path", STUDENTS, ids=lambda path: path.stem)
def test_students_see_empty_quotes_and_no_answers(path):
    """Every answer of the source is an empty text for students; the teacher's cells are gone."""
    source = (LESSON / "source" / f"{path.stem}.lesson").read_text(encoding="utf-8")
    answers = re.findall("«(.*?)»", source)
    code = "\n".join(text for kind, text in sources(VERSIONS[path]) if kind == "code")
    assert len(answers) >= 1 and code.count('""') >= len(answers)
    assert not re.search("[«»]", code) and "Teacher" not in json.dumps(VERSIONS[path])
    assert [answer for answer in answers if f", {answer})" in code] == []


@pytest.mark.parametrize("path", [*STUDENTS, *TEACHERS], ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_cells_are_thin(path):
    """A cell is at most ten lines, so that it can be read by somebody who doesn't program."""
    assert max(text.count("\n") + 1 for kind, text in sources(VERSIONS[path]) if kind == "code") <= 10


@pytest.mark.slow
def test_worked_answers_earn_every_point(tmp_path):
    """The teacher's versions, run one after another: the file of answers that they write is marked in full."""
    shutil.copytree(LESSON / "practice_group", tmp_path / "practice_group")
    (tmp_path / "with_answers").mkdir()
    where = {"metadata": {"path": str(tmp_path / "with_answers")}}
    for path in TEACHERS:
        book = nbformat.reads(json.dumps(VERSIONS[path]), as_version=4)
        nbclient.NotebookClient(book, timeout=120, resources=where).execute()
    key = read_key(make_notebooks.practice_class(tmp_path).teacher)
    answers, own = read_answers(tmp_path / "practice_group" / FILE), key["groups"][0]
    marks = group_marks(answers, (), own, {"01": own}, key["class"])
    assert marks.points == marks.of == 22, str(marks)
    assert answers.number("shared 1").value == pytest.approx(own["shared_truth"], rel=0.1)


def test_the_practice_group_opens():
    """It names its class, and holds no answers file."""
    assert open_group(LESSON / "practice_group").class_id
    assert not (LESSON / "practice_group" / FILE).exists()


def test_the_teachers_page_holds_every_caution_of_a_class():
    """Pressure, glass, CO2, hygiene, no tasting: word for word from the library, in a page that its source makes."""
    page = (LESSON / "teachers_page.md").read_text(encoding="utf-8")
    assert page == make_notebooks.teachers_page()
    for sentence in cautions_for("fermenting", "closing", "venting", "autolysis").sentences():
        assert sentence in page
    assert "No tasting" in page
