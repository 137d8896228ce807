"""The rooms of the house: a room leans only on lines above it in this table."""

import ast
from pathlib import Path

import pytest

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
MODULES = sorted(
    path.relative_to(PACKAGE).with_suffix("").as_posix().replace("/", ".")
    for path in PACKAGE.rglob("*.py")
    if path.parent != PACKAGE or path.stem != "__init__"
)


def imports(name):
    """Every module that a module imports: 'fermkit.gas.curve', 'numpy'."""
    path = PACKAGE / (name.replace(".", "/") + ".py")
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
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


@pytest.mark.parametrize("name", MODULES)
def test_a_room_leans_only_on_lines_above_it(name):
    """No module imports its own line or a lower one, its own room aside."""
    room = name.split(".")[0]
    assert room in LINE, f"{room} has no line: add it to LINES, and say in DEVELOPERS.md what it is for"
    for imported in ours(name):
        other = imported.split(".")[0]
        assert other == room or LINE[other] < LINE[room], f"{name} (line {LINE[room]}) imports {imported}"


def test_every_room_on_the_plan_exists():
    """The table speaks of nothing that isn't there."""
    assert set(LINE) == {name.split(".")[0] for name in MODULES}


@pytest.mark.parametrize("name", MODULES)
def test_two_levels_and_no_name_said_twice(name):
    """A file is fermkit/room/noun.py, and the noun is not the room's own name again."""
    parts = name.split(".")
    assert len(parts) <= 2
    assert len(set(parts)) == len(parts)


def test_nothing_goes_round_in_a_circle():
    """Following imports from any module never leads back to it."""
    leans = {name: [other for other in ours(name) if other in MODULES] for name in MODULES}

    def walk(name, path):
        assert name not in path, " → ".join([*path[path.index(name) :], name])
        for other in leans[name]:
            if other not in done:
                walk(other, [*path, name])
        done.add(name)

    done = set()
    for name in MODULES:
        walk(name, [])


@pytest.mark.parametrize(
    ("library", "rooms"),
    [("matplotlib", {"show"}), ("jinja2", {"show"}), ("ipywidgets", {"show"}), ("pint", {"basis"})],
)
def test_leaves_are_the_only_importers(library, rooms):
    """Pictures, pages, widgets and units each come in through one door."""
    users = {name.split(".")[0] for name in MODULES if any(i.split(".")[0] == library for i in imports(name))}
    assert users <= rooms


FILLED_STEP_BY_STEP = {"Sums", "Found", "Remarks"}


def dataclasses():
    """Every dataclass of the package: its name, its bases and what its decorator was told."""
    for name in MODULES:
        path = PACKAGE / (name.replace(".", "/") + ".py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            for decorator in getattr(node, "decorator_list", []):
                called = decorator.func if isinstance(decorator, ast.Call) else decorator
                if getattr(called, "id", "") == "dataclass":
                    told = {k.arg: ast.literal_eval(k.value) for k in getattr(decorator, "keywords", [])}
                    yield node.name, {getattr(base, "id", "") for base in node.bases}, told


def test_results_cannot_be_altered_afterwards():
    """What was computed stays as it was printed; a result shows its page, not its insides."""
    for name, bases, told in dataclasses():
        assert told.get("frozen", False) is (name not in FILLED_STEP_BY_STEP), name
        assert "Written" not in bases or told.get("repr") is False, name
