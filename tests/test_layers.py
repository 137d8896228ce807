"""The floors of the house: a module imports only from floors above it in this table."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parent.parent / "fermkit"

# Same floor: strangers to one another. A family (in brackets) is one noun in several files,
# each of which may lean on those before it.
FLOORS = [
    ["errors", "constants"],
    ["checks", "written", "cautions"],
    ["composition", ["evaluation", "alcohol", "properties"], "quantities", "budget"],
    [
        ["ingredients", "feed"],
        ["counters", "vents", "gas", "collector", "weighing", "headspace"],
        [
            "curves",
            "fitter",
            "starts",
            "confidence",
            "weights",
            "residuals",
            "many",
            "phases",
            "fitted",
            "growth",
            "comparison",
            "smoothing",
            "two_waves",
        ],
        ["surroundings", "response", "standards", "limits", "linearity", "readback", "sweep", "calibration", "dilutions", "drift"],
        "density",
        [
            "streams",
            "byproducts",
            "elements",
            "redundancy",
            "reconciliation",
            "evidence",
            "faults",
            "ranking",
            "measurements",
            "explanations",
            "detection",
            "bounds",
            "balance",
        ],
        ["gas_space", "pressures", "vessel"],
        "hold",
        "dry_matter",
        "drying",
        "harvest",
        ["batches", "simulation", "recipe", "kitchen"],
    ],
    [["pathways", "aeration", "nutrients", "plan", "ways"], ["findings", "run_layout", "clock", "columns", "long_tables", "oddities", "tables", "ledger", "settings", "instruments", "workbooks", "writing", "records", "template"]],
    ["analysis"],
    [["style", "plots"]],
    [
        "report",
        [
            "repeatability",
            "between_groups",
            "cell_counts",
            "sealing",
            "mishaps",
            "answers",
            "group_folder",
            "handout",
            "class_data",
            "marking",
            "pooling",
            "workshop",
        ],
        ["controls", "panel", "planning_panels", "reading_panels", "record_panels", "panels"],
    ],
    ["__main__"],
]


def families():
    """Module → (floor, family, place in the family)."""
    found = {}
    for floor, rooms in enumerate(FLOORS):
        for room in rooms:
            members = room if isinstance(room, list) else [room]
            for place, name in enumerate(members):
                found[name] = (floor, members[0], place)
    return found


HOUSE = families()
MODULES = sorted(path.stem for path in PACKAGE.glob("*.py") if path.stem != "__init__")


def imports(name):
    """Top-level names of everything a module imports, as 'fermkit.x' or 'numpy'."""
    tree = ast.parse((PACKAGE / f"{name}.py").read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name} uses a relative import"
            if node.module == "fermkit":
                yield from (f"fermkit.{alias.name}" for alias in node.names)
            else:
                yield node.module


@pytest.mark.parametrize("name", MODULES)
def test_a_module_leans_only_on_floors_above_it(name):
    """No module imports its own floor or a lower one, its own family aside."""
    assert name in HOUSE, f"{name} has no floor: add it to FLOORS, and say in DEVELOPERS.md what it is for"
    floor, family, place = HOUSE[name]
    for imported in imports(name):
        if not imported.startswith("fermkit."):
            continue
        other = imported.split(".")[1]
        other_floor, other_family, other_place = HOUSE[other]
        same_family = other_family == family and other_place < place
        assert other_floor < floor or same_family, (
            f"{name} (floor {floor}) imports {other} (floor {other_floor})"
        )


def test_every_room_on_the_plan_exists():
    """The table speaks of nothing that isn't there."""
    assert set(HOUSE) == set(MODULES)


@pytest.mark.parametrize(
    ("library", "only"), [("matplotlib", "style"), ("ipywidgets", "panel"), ("pint", None)]
)
def test_leaves_are_the_only_importers(library, only):
    """Pictures, widgets and units each come in through one door."""
    users = {name for name in MODULES if any(i.split(".")[0] == library for i in imports(name))}
    assert len(users) <= 1
    if only is not None:
        assert users <= {only}
