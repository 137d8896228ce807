"""Makes the lesson's notebooks: from each lesson in source/, one for students and one with answers.

    python notebooks/workshop/make_notebooks.py            # both versions of every notebook, run
    python notebooks/workshop/make_notebooks.py practice   # the practice group's folder anew, too

A source is cut into cells by lines that begin with three waves and say what follows: words, code to run, or words for
the teacher only. In code, what stands between « and » is an answer: the teacher's version shows it, the students' has
empty quotes in its place. Running needs nbclient; the test that both are in step does not.
"""

import hashlib
import json
import re
import shutil
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
FOLDER = 'fk.open_group("practice_group")'
PRACTICE_SECRET = b"for practice, so no secret at all"
ANSWER = re.compile("«(.*?)»")


def cells(source: str, teacher: bool) -> list[tuple[str, str]]:
    """Kind and text of every cell of one version."""
    out = []
    for part in re.split(r"(?m)^~~~ ", source)[1:]:
        kind, _, body = part.partition("\n")
        body = body.strip("\n")
        if kind == "run":
            out.append(("code", ANSWER.sub(r"\g<1>" if teacher else '""', body)))
        elif kind == "words" or teacher:
            out.append(("markdown", body))
    if teacher:
        title, _, rest = out[0][1].partition("\n")
        out[0] = ("markdown", f"{title}: with answers\n{rest}")
        out = [
            (kind, text.replace(FOLDER, FOLDER.replace("practice_group", "../practice_group"))) for kind, text in out
        ]
    return out


def notebook(name: str, source: str, teacher: bool) -> dict:
    """One version as a notebook, not yet run."""
    made = []
    for place, (kind, text) in enumerate(cells(source, teacher)):
        mark = hashlib.sha256(f"{name} {teacher} {place}".encode()).hexdigest()[:8]
        cell = {"id": mark, "cell_type": kind, "metadata": {}, "source": text.splitlines(keepends=True)}
        made.append(cell | ({"execution_count": None, "outputs": []} if kind == "code" else {}))
    kernel = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
    about = {"kernelspec": kernel, "language_info": {"name": "python"}}
    return {"cells": made, "metadata": about, "nbformat": 4, "nbformat_minor": 5}


def versions() -> dict[Path, dict]:
    """Every notebook of the lesson: where it lies, and what it holds."""
    out = {}
    for path in sorted((HERE / "source").glob("*.lesson")):
        text = path.read_text(encoding="utf-8")
        out[HERE / f"{path.stem}.ipynb"] = notebook(path.stem, text, teacher=False)
        out[HERE / "with_answers" / f"{path.stem}.ipynb"] = notebook(path.stem, text, teacher=True)
    return out


def teachers_page() -> str:
    """The teacher's page, with plans, questions, words and cautions from where the library keeps them."""
    from fermkit.basis.cautions import cautions_for
    from fermkit.teach.lesson import five_list, glossary_table, plan_table

    steps = ("fermenting", "closing", "warming", "venting", "measuring alcohol", "autolysis", "drying")
    told = "\n".join(f"- {sentence}" for sentence in cautions_for(*steps).sentences())
    text = (HERE / "source" / "teachers_page.md").read_text(encoding="utf-8")
    for name, part in {
        "cautions": told, "plan 90": plan_table(90), "plan 45": plan_table(45), "five questions": five_list(),
        "words": glossary_table(),
    }.items():  # fmt: skip
        text = text.replace(f"<!-- {name} -->", part)
    return text


def run(made: dict, folder: Path) -> dict:
    """The notebook with its outputs, and without the times of running."""
    import nbclient
    import nbformat

    book = nbformat.reads(json.dumps(made), as_version=4)
    place = {"metadata": {"path": str(folder)}}
    nbclient.NotebookClient(book, timeout=180, store_widget_state=False, resources=place).execute()
    book.metadata.pop("widgets", None)
    for cell in book.cells:
        cell.metadata.pop("execution", None)
    return book


def practice_class(place: Path):
    """A class of one group with a leak, from a secret that is none."""
    from fermkit.teach.classes import make_class

    return make_class(1, place / "class", faults=("leak",), secret=PRACTICE_SECRET)


def practice_group() -> None:
    """The folder that the notebooks open as they come, with its slips of paper, since no teacher sells them."""
    from fermkit.teach.class_data import read_key

    target = HERE / "practice_group"
    with tempfile.TemporaryDirectory() as place:
        kit = practice_class(Path(place))
        shutil.rmtree(target, ignore_errors=True)
        shutil.copytree(kit.folder / "group_01", target, ignore=shutil.ignore_patterns("*.ipynb", "answers.txt"))
        slips = read_key(kit.teacher)["groups"][0]["slips"]
    lines = [f"{name}: {'; '.join(' '.join(line) for line in one['lines'])}" for name, one in slips.items()]
    (target / "slips.txt").write_text("\n".join([*lines, ""]), encoding="utf-8")


def no_answers_yet() -> None:
    """Take away what a notebook has written down into the practice group's folder."""
    for name in ("answers.txt", ".answers.txt-lock"):
        (HERE / "practice_group" / name).unlink(missing_ok=True)


def main() -> None:
    """Make everything."""
    import nbformat

    if "practice" in sys.argv[1:]:
        practice_group()
    (HERE / "with_answers").mkdir(exist_ok=True)
    (HERE / "teachers_page.md").write_text(teachers_page(), encoding="utf-8")
    for path, made in versions().items():
        no_answers_yet()
        book = run(made, path.parent)
        nbformat.write(book, path)
        print(path.relative_to(HERE), len(made["cells"]), "cells", path.stat().st_size, "bytes")
    no_answers_yet()


if __name__ == "__main__":
    main()
