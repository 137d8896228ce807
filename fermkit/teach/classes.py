"""Teach a class with it: data for every group, mistakes to find, marks, and what the class found together.

The front door of a family: `class_data` makes a class, `group_folder` is what students work in, `marking` reads their
answers, `pooling` takes their results together.
"""

from pathlib import Path

from fermkit.teach.class_data import ClassKit, make_class, read_key, teachers_folder
from fermkit.teach.group_folder import GroupFolder, open_group
from fermkit.teach.handout import key_on_paper
from fermkit.teach.marking import ClassMarks, mark
from fermkit.teach.pooling import ClassPool, pool

__all__ = [
    "ClassKit",
    "ClassMarks",
    "ClassPool",
    "GroupFolder",
    "key_in_words",
    "make_class",
    "mark",
    "open_group",
    "pool",
    "teachers_folder",
]


def key_in_words(folder: str | Path, teacher: str | Path | None = None) -> str:
    """The key of a class as a page to print: fault, sign, what settles it, the answers, the truth."""
    return key_on_paper(read_key(folder, teacher)["groups"])
