"""The house is kept: rooms lean only on lines above them, refusals have three beats, results cannot be altered."""

import ast
from functools import cache
from pathlib import Path

import pytest

from fermkit.basis.cautions import CAUTIONS

PACKAGE = Path(__file__).resolve().parent.parent / "fermkit"

# A room is a folder of files that are nouns of the trade. Rooms of one line are strangers to one another;
# inside a room nothing goes round in a circle.
LINES = [
    ["basis"],
    ["matter"],
    ["gas", "growth", "calibration", "balance", "vessel", "harvest", "kinetics"],
    ["batch"],
    ["run"],
    ["show"],
    ["teach"],
    ["__main__"],
]
LINE = {room: line for line, rooms in enumerate(LINES) for room in rooms}

ONE_DOOR = {
    "matplotlib": {"show"}, "jinja2": {"show"}, "ipywidgets": {"show"}, "pint": {"basis"}, "periodictable": {"matter"},
}  # fmt: skip
"""Libraries that come in through one room."""

FILLED_STEP_BY_STEP = {"Found", "LeanSvg", "Sums", "Remarks"}
"""The only dataclasses that may change after they were made."""

OURS = ("InputError", "FitError", "BalanceError", "EmptyTable")
OF_A_FILE = "refusal"
"""A method that puts file, row and column, which are live, before what was met."""

ON_PURPOSE = {
    ("basis.quantities", "ValueError"): "leaves a try, whose except says the three beats",
    ("basis.written", "NotImplementedError"): "a page that no result class said; a mistake of ours, not of the person",
    ("show.lean", "CannotWrite"): "caught by the panel, which then shows a PNG",
    ("__init__", "AttributeError"): "what Python itself asks of a module",
}
"""Other kinds that are raised, and why."""


@cache
def trees():
    """Every module with its syntax tree: 'gas.curve' → tree."""
    return {
        path.relative_to(PACKAGE).with_suffix("").as_posix().replace("/", "."): ast.parse(
            path.read_text(encoding="utf-8")
        )
        for path in sorted(PACKAGE.rglob("*.py"))
    }


def rooms():
    """The modules that stand in a room, with their trees."""
    return {name: tree for name, tree in trees().items() if name != "__init__"}


def imports(name):
    """Every module that a module imports: 'fermkit.gas.curve', 'numpy'."""
    for node in ast.walk(trees()[name]):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name} uses a relative import"
            if node.module and (PACKAGE.parent / node.module.replace(".", "/")).is_dir():
                yield from (f"{node.module}.{alias.name}" for alias in node.names)
            else:
                yield node.module


def ours(name):
    """The modules of this library that a module imports, without the leading 'fermkit.'."""
    return [imported.removeprefix("fermkit.") for imported in imports(name) if imported.startswith("fermkit.")]


def test_a_room_leans_only_on_lines_above_it():
    """No module imports its own line or a lower one, its own room aside; every room on the plan is there."""
    assert set(LINE) == {name.split(".")[0] for name in rooms()}, "the rooms of LINES are not those of the folder"
    for name in rooms():
        room = name.split(".")[0]
        for imported in ours(name):
            other = imported.split(".")[0]
            assert other == room or LINE[other] < LINE[room], f"{name} (line {LINE[room]}) imports {imported}"


def test_two_levels_and_no_name_said_twice():
    """A file is fermkit/room/noun.py, and the noun is not the room's own name again."""
    for name in rooms():
        parts = name.split(".")
        assert len(parts) <= 2 and len(set(parts)) == len(parts), f"{name}: not fermkit/room/noun.py"


def test_nothing_goes_round_in_a_circle():
    """Following imports from any module never leads back to it."""
    leans = {name: [other for other in ours(name) if other in rooms()] for name in rooms()}

    def walk(name, path):
        assert name not in path, " → ".join([*path[path.index(name) :], name])
        for other in leans[name]:
            if other not in done:
                walk(other, [*path, name])
        done.add(name)

    done = set()
    for name in leans:
        walk(name, [])


@pytest.mark.parametrize("library", ONE_DOOR)
def test_a_library_comes_in_through_one_room(library):
    """Pictures, pages, widgets, units and atoms each have one door."""
    users = {name.split(".")[0] for name in rooms() if any(i.split(".")[0] == library for i in imports(name))}
    assert users == ONE_DOOR[library]


def dataclasses():
    """Every dataclass of the package: its name, its bases and what its decorator was told."""
    for tree in rooms().values():
        for node in ast.walk(tree):
            for decorator in getattr(node, "decorator_list", []):
                called = decorator.func if isinstance(decorator, ast.Call) else decorator
                if getattr(called, "id", "") == "dataclass":
                    told = {k.arg: ast.literal_eval(k.value) for k in getattr(decorator, "keywords", [])}
                    yield node.name, {getattr(base, "id", "") for base in node.bases}, told


def test_results_cannot_be_altered_afterwards():
    """What was computed stays as it was printed; a result shows its page, not its insides."""
    for name, bases, told in dataclasses():
        assert told.get("frozen", False) is (name not in FILLED_STEP_BY_STEP), f"{name}: @dataclass(frozen=True)"
        assert "Written" not in bases or told.get("repr") is False, f"{name} is Written: @dataclass(…, repr=False)"


def raises():
    """Each `raise` with an exception of its own: the module's name, its tree, the expression."""
    return [
        (name, tree, raised)
        for name, tree in trees().items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise) and node.exc is not None
        for raised in chosen_from(node.exc)
    ]


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


def three_beats(name, call):
    """Hold one call to the three beats: the live value, what is needed, what to do."""
    where = f"{name}, line {call.lineno}"
    assert len(call.args) == 3, f"{where}: {len(call.args)} beats, not what was met, what is needed, what to do"
    assert kind(call) == OF_A_FILE or live(call.args[0]), f"{where}: no live value in {ast.unparse(call.args[0])}"
    for text in map(said, call.args):
        assert text is None or (isinstance(text, str) and text.strip()), f"{where}: an empty beat"
        assert text is None or not text.endswith("."), f"{where}: beats are no sentences of their own: {text!r}"
    needed, do = map(said, call.args[1:])
    assert needed is None or needed != do, f"{where}: what is needed and what to do are the same"


def returned_by(tree, name):
    """What the functions of this name return."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and node.name == name:
            return [r.value for r in ast.walk(node) if isinstance(r, ast.Return) and r.value is not None]
    return []


def test_every_refusal_says_its_three_beats():
    """What was met (with the live value), what is needed, what to do; or a kind that is listed with its reason."""
    seen = set()
    for name, tree, raised in raises():
        made = kind(raised)
        seen.add((name, made))
        if (name, made) in ON_PURPOSE:
            continue
        if not isinstance(raised, ast.Call):  # raised again as it was caught
            handlers = (node.type for node in ast.walk(tree) if isinstance(node, ast.ExceptHandler))
            caught = {handler.id for handler in handlers if isinstance(handler, ast.Name)}
            assert caught & {*OURS, "FermkitError"}, f"{name}, line {raised.lineno}: {made} is raised"
            continue
        behind = [raised] if made in (*OURS, OF_A_FILE) else returned_by(tree, made)
        assert behind, f"{name}, line {raised.lineno}: {made} is raised"
        for call in behind:
            assert kind(call) in (*OURS, OF_A_FILE), f"{name}, line {call.lineno}: makes {ast.unparse(call)}"
            three_beats(name, call)
    assert set(ON_PURPOSE) <= seen, "an exception is excused that no longer happens"


def test_warnings_are_of_one_kind_and_carry_a_value():
    """A warning is a DoubtfulResult with a live value in its words."""
    for name, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in ("warnings.warn", "warn"):
                words = [ast.unparse(part) for part in node.args]
                assert any("DoubtfulResult" in part for part in words), f"{name}, line {node.lineno}: {words}"
                assert live(node.args[0]), f"{name}, line {node.lineno}: {words}"


def test_nothing_promises_safety_and_cautions_have_one_home():
    """No sentence of the library says that something is safe; no caution stands in two modules."""
    for path in PACKAGE.rglob("*.py"):
        text = " ".join(path.read_text(encoding="utf-8").split())
        for promise in ("is safe", "are safe", "safe to ", "perfectly safe", "no danger", "harmless"):
            assert promise not in text.lower(), f"{path.name} says {promise!r}"
        if path.name != "cautions.py":
            for item in CAUTIONS:
                assert item.says[:50] not in text, f"{path.name} repeats {item.name}"
