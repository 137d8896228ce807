"""The lesson's notebooks: one source makes both versions, and the answers in it are right."""

import json
import re
import shutil
from pathlib import Path

import make_notebooks
import nbclient
import nbformat
import pytest

from fermkit.basis.cautions import cautions_for
from fermkit.teach.classes import open_group

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
def test_students_see_blanks_and_no_answers(path):
    """As many open blanks as the source has, the teacher's cells gone, no answer in an output, no `def`."""
    source = (LESSON / "source" / f"{path.stem}.lesson").read_text(encoding="utf-8")
    code = "\n".join(text for kind, text in sources(VERSIONS[path]) if kind == "code")
    assert len(re.findall(r"= \.\.\.  # ", code)) == source.count("# blank: ") >= 1
    assert "Teacher" not in json.dumps(VERSIONS[path])
    assert "def " not in code
    shown = path.read_text(encoding="utf-8")
    assert not re.search(r": right[,.]", shown)
    for answer in re.findall(r"(?m)^\w+ = (.*?)  # blank: ", source):
        assert f"= {answer}  #" not in code


@pytest.mark.parametrize("path", [*STUDENTS, *TEACHERS], ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_cells_are_thin(path):
    """A cell is at most ten lines, so that it can be read by somebody who doesn't program."""
    assert max(text.count("\n") + 1 for kind, text in sources(VERSIONS[path]) if kind == "code") <= 10


@pytest.mark.slow
@pytest.mark.parametrize("path", TEACHERS, ids=lambda path: path.stem)
def test_worked_answers_are_right(path, tmp_path):
    """The teacher's version, run: every check says right, and no cell fails."""
    shutil.copytree(LESSON / "practice_group", tmp_path / "practice_group")
    (tmp_path / "with_answers").mkdir()
    book = nbformat.reads(json.dumps(VERSIONS[path]), as_version=4)
    where = {"metadata": {"path": str(tmp_path / "with_answers")}}
    nbclient.NotebookClient(book, timeout=120, resources=where).execute()
    checked = []
    for cell in book.cells:
        if cell.cell_type == "code" and "group.check(" in cell.source:
            checked.append(cell.outputs[0]["data"]["text/plain"])
    assert len(checked) == "\n".join(text for _, text in sources(VERSIONS[path])).count("group.check(")
    assert [said for said in checked if ": right" not in said and ": noted" not in said] == []


def test_the_practice_group_opens():
    """Ten things are asked, none is answered in what is handed out."""
    assert open_group(LESSON / "practice_group").class_id
    assert make_notebooks.versions() == VERSIONS


def test_the_teachers_page_holds_every_caution_of_a_class():
    """Pressure, glass, CO2, hygiene, no tasting: word for word from the library, in a page that its source makes."""
    page = (LESSON / "teachers_page.md").read_text(encoding="utf-8")
    assert page == make_notebooks.teachers_page()
    for sentence in cautions_for("fermenting", "closing", "venting", "autolysis").sentences():
        assert sentence in page
    assert "No tasting" in page
