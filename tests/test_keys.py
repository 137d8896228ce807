"""What is printed is for readers: no code compares it, looks things up by it, or tags a number with it."""

import ast
from pathlib import Path

import pytest

import fermkit
from fermkit.teach.mishaps import NAMES
from fermkit.teach.real_jars import HEADER

HOUSE = Path(fermkit.__file__).parent
FILES = sorted(HOUSE.rglob("*.py"))
TYPED = {*NAMES, *(said.label for said in HEADER)}
"""Names of the class kit's mishaps and lines of its sheet: words that people type, so code has to compare them."""
TEXT_METHODS = ("startswith", "endswith", "replace", "split", "count", "index", "find", "removeprefix", "removesuffix")


def _sentence(node):
    """Whether a constant is printed English: three words or more."""
    text = node.value if isinstance(node, ast.Constant) else None
    return isinstance(text, str) and len(text.split()) >= 3 and text not in TYPED


def _text(node):
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def _compared(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare):
            yield from (side for side in (node.left, *node.comparators) if _sentence(side))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in TEXT_METHODS:
            yield from (part for part in node.args if _sentence(part))
        elif isinstance(node, ast.Subscript) and _sentence(node.slice):
            yield node.slice


def _tagged(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "ufloat":
            tags = [*node.args[2:], *(k.value for k in node.keywords if k.arg == "tag")]
            yield from (tag for tag in tags if _text(tag))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(HOUSE).as_posix())
def test_no_sentence_is_compared_or_is_a_key(path):
    """No comparison, look-up or search by a sentence; every ± is tagged with an `Act`, not with words."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = [f"line {node.lineno}: {ast.unparse(node)}" for node in (*_compared(tree), *_tagged(tree))]
    assert not found, f"{path.relative_to(HOUSE)}: {found}; use an Enum, a short key or an `Act`, not printed words"
