"""Run the notebooks anew, keep what they show: `python tests/run_notebooks.py [PATH …]`; without PATH the numbered."""

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

NOTEBOOKS = Path(__file__).resolve().parent.parent / "notebooks"


def run(path):
    """Outputs are stored; times, and what belongs to a browser, are not."""
    book = nbformat.read(path, 4)
    place = {"metadata": {"path": path.parent}}
    NotebookClient(book, timeout=600, record_timing=False, store_widget_state=False, resources=place).execute()
    book.metadata.pop("widgets", None)
    nbformat.write(book, path)


if __name__ == "__main__":
    for path in [Path(name) for name in sys.argv[1:]] or sorted(NOTEBOOKS.glob("[0-9]*.ipynb")):
        run(path.resolve())
        print(path.name)
