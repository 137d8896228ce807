"""Every refusal says what was met, with its value, what is needed, and what to do."""

import ast
from functools import cache
from pathlib import Path

import pytest

import fermkit

PACKAGE = Path(fermkit.__file__).parent
OURS = ("InputError", "FitError", "BalanceError")
OF_A_FILE = "refusal"
"""A method that puts file, row and column, which are live, before what was met."""

ON_PURPOSE = {
    ("quantities.py", "ValueError"): "leaves a try, whose except says the three beats",
    ("written.py", "NotImplementedError"): "a page that no result class said; a mistake of ours, not of the person",
}
"""Other kinds that are raised, and why."""

WITHOUT_VALUE = {
    "the secret does not open the key: it belongs to another class, or the key was changed": "a secret is not shown",
}
"""First beats that name no value, and why."""


@cache
def raises():
    """Each `raise` with an exception of its own: file, its function's tree, the expression."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Raise) and node.exc is not None:
                found += [
                    pytest.param(path, tree, raised, id=f"{path.stem}-{node.lineno}")
                    for raised in chosen_from(node.exc)
                ]
    return found


def chosen_from(raised):
    """Both branches of a `raise a if … else b`."""
    if isinstance(raised, ast.IfExp):
        return [*chosen_from(raised.body), *chosen_from(raised.orelse)]
    return [raised]


def kind(raised):
    """The last word of what is raised or called."""
    made_by = raised.func if isinstance(raised, ast.Call) else raised
    return made_by.attr if isinstance(made_by, ast.Attribute) else made_by.id


def live(met):
    """Whether a first beat holds a value that is only known when it happens."""
    if isinstance(met, ast.Constant):
        return False
    if isinstance(met, ast.JoinedStr):
        return any(isinstance(part, ast.FormattedValue) for part in met.values)
    if isinstance(met, ast.IfExp):
        return live(met.body) and live(met.orelse)
    if isinstance(met, ast.BinOp):
        return live(met.left) or live(met.right)
    return isinstance(met, (ast.Call, ast.Attribute, ast.Name))


def said(beat):
    """The words of a beat that are fixed, or None where all of it is made elsewhere."""
    if isinstance(beat, ast.Constant):
        return beat.value
    if isinstance(beat, ast.JoinedStr):
        return "".join(part.value if isinstance(part, ast.Constant) else "…" for part in beat.values)
    return None


def three_beats(path, call):
    """Hold one call to the three beats."""
    beats = call.args
    where = f"{path.name}, line {call.lineno}"
    assert len(beats) == 3, f"{where}: {len(beats)} beats"
    met = beats[0]
    if kind(call) != OF_A_FILE and not live(met):
        assert said(met) in WITHOUT_VALUE, f"{where}: no live value in {ast.unparse(met)}"
    for beat in beats:
        text = said(beat)
        assert text is None or (isinstance(text, str) and text.strip()), f"{where}: an empty beat"
        assert text is None or not text.endswith("."), f"{where}: beats are no sentences of their own: {text!r}"
    needed, do = (said(beat) for beat in beats[1:])
    assert needed is None or needed != do, f"{where}: what is needed and what to do are the same"


def named(path, tree, name):
    """The exceptions that a function of this name returns."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and node.name == name:
            found = [r.value for r in ast.walk(node) if isinstance(r, ast.Return) and r.value is not None]
            assert found, f"{path.name}: {name} makes no error"
            return found
    return []


@pytest.mark.parametrize(("path", "tree", "raised"), raises())
def test_every_refusal_says_its_three_beats(path, tree, raised):
    """What was met (with the live value), what is needed, what to do; or a kind that is listed with its reason."""
    name = kind(raised)
    if (path.name, name) in ON_PURPOSE:
        return
    if not isinstance(raised, ast.Call):  # raised again as it was caught
        caught = {
            handler.type.id
            for handler in ast.walk(tree)
            if isinstance(handler, ast.ExceptHandler) and isinstance(handler.type, ast.Name)
        }
        assert caught & set(OURS), f"{path.name}, line {raised.lineno}: {name} is raised"
        return
    if name in (*OURS, OF_A_FILE):
        three_beats(path, raised)
        return
    behind = named(path, tree, name)
    assert behind, f"{path.name}, line {raised.lineno}: {name} is raised"
    for call in behind:
        assert kind(call) in (*OURS, OF_A_FILE), f"{path.name}, line {call.lineno}: {name} makes {ast.unparse(call)}"
        three_beats(path, call)


def test_warnings_are_of_one_kind_and_carry_a_value():
    """A warning is a DoubtfulResult with a live value in its words."""
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in ("warnings.warn", "warn"):
                words = [ast.unparse(part) for part in node.args]
                assert any("DoubtfulResult" in part for part in words), f"{path.name}, line {node.lineno}: {words}"
                assert live(node.args[0]), f"{path.name}, line {node.lineno}: {words}"


@pytest.mark.parametrize("word", [*OURS, OF_A_FILE])
def test_each_kind_is_met(word):
    """The walk sees each kind of refusal many times over: it is not blind."""
    assert sum(kind(case.values[2]) == word for case in raises()) >= 5


def test_the_exceptions_to_the_rule_are_still_there():
    """Nothing is excused that no longer happens."""
    kinds = {(case.values[0].name, kind(case.values[2])) for case in raises()}
    assert set(ON_PURPOSE) <= kinds
    firsts = {said(case.values[2].args[0]) for case in raises() if getattr(case.values[2], "args", None)}
    assert set(WITHOUT_VALUE) <= firsts
