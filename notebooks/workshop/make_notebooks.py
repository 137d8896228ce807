"""Makes the lesson's notebooks: from each lesson in source/, one for students and one with answers.

    python notebooks/workshop/make_notebooks.py            # both versions of every notebook, run
    python notebooks/workshop/make_notebooks.py practice   # the practice group's folder anew, too

In a source, a line that ends in ``# blank: what is asked`` keeps its answer for the teacher and loses it for students;
a cell marked ``[teacher]`` is for the teacher only. Running needs nbclient; the test that both are in step does not.
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
BLANK = re.compile(r"(?m)^(\s*\w+ = ).*?  # blank: (.*)$")


def cells(source: str, teacher: bool) -> list[tuple[str, str]]:
    """Kind and text of every cell of one version."""
    out = []
    for part in re.split(r"(?m)^# %%", source)[1:]:
        head, _, body = part.partition("\n")
        kind, body = head.strip().strip("[]"), body.strip("\n")
        if kind in ("markdown", "teacher"):
            text = "\n".join(re.sub(r"^# ?", "", line) for line in body.splitlines())
            if kind == "markdown" or teacher:
                out.append(("markdown", text))
        else:
            out.append(("code", _filled(body) if teacher else BLANK.sub(r"\g<1>...  # \g<2>", body)))
    if teacher:
        title, _, rest = out[0][1].partition("\n")
        out[0] = ("markdown", f"{title}: with answers\n{rest}")
        out = [
            (kind, text.replace(FOLDER, FOLDER.replace("practice_group", "../practice_group"))) for kind, text in out
        ]
    return out


def _filled(body: str) -> str:
    return body.replace("  # blank: ", "  # ")


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
    """The teacher's page, with the cautions of a class from where the library keeps them."""
    from fermkit.basis.cautions import cautions_for

    steps = ("fermenting", "closing", "warming", "venting", "measuring alcohol", "autolysis", "drying")
    told = "\n".join(f"- {sentence}" for sentence in cautions_for(*steps).sentences())
    return (HERE / "source" / "teachers_page.md").read_text(encoding="utf-8").replace("<!-- cautions -->", told)


def run(made: dict, folder: Path) -> dict:
    """The notebook with its outputs, and without the times of running."""
    import nbclient
    import nbformat

    book = nbformat.reads(json.dumps(made), as_version=4)
    nbclient.NotebookClient(book, timeout=180, resources={"metadata": {"path": str(folder)}}).execute()
    for cell in book.cells:
        cell.metadata.pop("execution", None)
    return book


def practice_group() -> None:
    """The folder that the notebooks open as they come: one group with a leak, from a secret that is none."""
    from fermkit.teach.classes import make_class

    target = HERE / "practice_group"
    with tempfile.TemporaryDirectory() as place:
        kit = make_class(1, Path(place) / "class", faults=("leak",), secret=PRACTICE_SECRET)
        shutil.rmtree(target, ignore_errors=True)
        shutil.copytree(kit.folder / "group_01", target, ignore=shutil.ignore_patterns("*.ipynb", "answers.txt"))


def main() -> None:
    """Make everything."""
    import nbformat

    if "practice" in sys.argv[1:]:
        practice_group()
    (HERE / "with_answers").mkdir(exist_ok=True)
    (HERE / "teachers_page.md").write_text(teachers_page(), encoding="utf-8")
    for path, made in versions().items():
        (HERE / "practice_group" / "answers.txt").unlink(missing_ok=True)
        book = run(made, path.parent)
        nbformat.write(book, path)
        print(path.relative_to(HERE), len(made["cells"]), "cells", path.stat().st_size, "bytes")
    (HERE / "practice_group" / "answers.txt").unlink(missing_ok=True)


if __name__ == "__main__":
    main()
