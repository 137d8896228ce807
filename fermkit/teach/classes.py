"""Teach a class with it: data for every group, mistakes to find, marks, and what the class found together.

The front door of a family: `class_data` makes a class, `group_folder` is what students work in, `marking` reads their
answers, `pooling` takes their results together.
"""

import html
import re
from pathlib import Path

from fermkit.basis.errors import InputError
from fermkit.teach.class_data import ClassKit, make_class, read_key, teachers_folder
from fermkit.teach.group_folder import GroupFolder, open_group
from fermkit.teach.marking import ClassMarks, mark
from fermkit.teach.papers import key_body
from fermkit.teach.pooling import ClassPool, pool
from fermkit.teach.real_jars import JARS, make_real_class

__all__ = [
    "ClassKit",
    "ClassMarks",
    "ClassPool",
    "GroupFolder",
    "key_in_words",
    "make_class",
    "make_real_class",
    "mark",
    "open_group",
    "pool",
    "teachers_folder",
]


def key_in_words(folder: str | Path, teacher: str | Path | None = None) -> str:
    """The key of a class as plain lines: marks, mistakes, answers, truth. `key.html` beside it is the printed form."""
    if (Path(folder) / JARS).exists():
        raise InputError(
            f"{str(folder)!r} is a class of real jars, whose truth nobody knows", "a class of invented data",
            "run mark: it works each group's answers out from the group's own readings",
        )  # fmt: skip
    body = key_body(read_key(teachers_folder(folder, teacher))["groups"])
    lines = re.sub(r"</(?:tr|h1|h2|p)>", "\n", body).replace("</td>", "\t")
    return html.unescape(re.sub(r"<[^>]+>", "", lines))
