"""The table of outside checks in the README beside this file, made by running the checks.

    python tests/published/make_table.py [--check]

With ``--check`` nothing is written; what is out of step is said.

Each row is one test against one source: which public names it holds, how many numbers it compares, how far the worst
of them is off, how far it may be off, and how the outside number was had (read in the source, computed with another
library, from memory).
"""

import ast
import json
import sys
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
BEGIN, END = "<!-- outside checks: made by tests/published/make_table.py -->", "<!-- outside checks: end -->"

NOT_A_QUANTITY = {
    "errors and a warning, by name": ["BalanceError", "DoubtfulResult", "FermkitError", "FitError", "InputError"],
    "reads, writes or shows; it computes nothing": (
        "begin", "cautions_for", "read_run", "run_from", "write_run", "write_report", "plus_minus", "run_format",
        "write_template",
    ),
    "joins steps that are each checked; held to runs with known truth (tests/benchmarks/pipeline_coverage.py)": (
        "analyse", "check_sums",
    ),
    "hands out and marks a class; its statistics are checked, its numbers come from simulation": (
        "make_class", "open_group",
    ),
    "a choice or a forecast of ours that nobody has published; held to simulated runs (tests/benchmarks)": (
        "find_vents", "plan_batch", "smooth_growth",
    ),
}  # fmt: skip
"""Public names without an outside check of their own, by the reason."""

UNUSED = {
    "no curve of ours has this form": (
        "NIST-Misra1b", "NIST-Misra1c", "NIST-Chwirut2", "NIST-Thurber", "NIST-Eckerle4",
        "NIST-Kirby2", "R-PuroT", "R-PuroU",
    ),
    "a list of data sets, no number": ("DATASETS",),
    "nothing of ours works in degrees Plato": ("PLATO", "PLATO-NBS"),
}  # fmt: skip
"""References that no check uses, by the reason: a general fitter that is not ours would be tested, not fermkit."""


class Collected:
    """Keeps what the `published` fixture has compared."""

    def __init__(self) -> None:
        self.comparisons: list = []

    def pytest_sessionfinish(self, session) -> None:
        """Find the recorder's list."""
        for plugin in session.config.pluginmanager.get_plugins():
            self.comparisons = getattr(plugin, "COMPARISONS", None) or self.comparisons


def collected() -> list:
    """Every comparison, from a run of all checks."""
    found = Collected()
    quiet = ["-q", "-p", "no:cacheprovider", "--no-header", "-o", "addopts=--import-mode=importlib"]
    options = [str(HERE), f"--ignore={HERE / 'test_table.py'}", *quiet]
    if pytest.main(options, plugins=[found]) != 0:
        raise SystemExit("the checks do not pass: no table")
    return found.comparisons


@cache
def public_names() -> tuple[str, ...]:
    """What `import fermkit as fk` offers."""
    tree = ast.parse((ROOT / "fermkit" / "__init__.pyi").read_text(encoding="utf-8"))
    return tuple(a.asname or a.name for n in tree.body if isinstance(n, ast.ImportFrom) for a in n.names)


@cache
def names_in(file: str) -> dict[str, tuple[str, ...]]:
    """For each test of a file the public names that it, or a helper (no fixture) that it calls, mentions."""
    tree = ast.parse((HERE / file).read_text(encoding="utf-8"))
    functions = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)
                 and not any("fixture" in ast.unparse(decorator) for decorator in node.decorator_list)}  # fmt: skip

    def mentioned(name: str, seen: frozenset[str] = frozenset()) -> set[str]:
        words = {n.attr if isinstance(n, ast.Attribute) else n.id
                 for n in ast.walk(functions[name]) if isinstance(n, (ast.Attribute, ast.Name))}  # fmt: skip
        helpers = (words & set(functions)) - seen - {name}
        return words.union(*(mentioned(helper, seen | {name}) for helper in helpers))

    return {name: tuple(p for p in public_names() if p in mentioned(name)) for name in functions}


def rows(comparisons: Sequence) -> list[tuple[str, ...]]:
    """One row for each test and source: names, numbers compared, source, deviation, tolerance, verification."""
    groups: dict[tuple[str, str, str], list] = {}
    for one in comparisons:
        groups.setdefault((one.test, one.source, one.verification), []).append(one)
    out = []
    for (test, source, verification), several in groups.items():
        file, name = Path(test.split("::")[0]).name, test.split("::")[-1]
        worst = max(several, key=lambda c: abs(c.found - c.expected) / c.tolerance if c.tolerance else 0.0)
        more = f" and {len(several) - 1} more" if len(several) > 1 else ""
        asked = ", ".join(f"`{n}`" for n in names_in(file).get(name, ())) or f"`{file.removesuffix('.py')[5:]}`"
        out.append((
            asked, f"{worst.quantity}{more}", source, f"{abs(worst.found - worst.expected):.1e}",
            f"{worst.tolerance:.1e}", verification,
        ))  # fmt: skip
    return out


def table(comparisons: Sequence) -> str:
    """The text between the two marks."""
    head = ("public name", "number that is furthest off", "source", "off by", "may be off by", "verification")
    lines = [
        "## Outside checks",
        "",
        f"{len(comparisons)} numbers beside {len({c.source for c in comparisons})} outside sources. *Verification*: "
        "how the outside number was had: read in the source, computed with another library, from memory.",
        "",
        "| " + " | ".join(head) + " |",
        "|---|---|---|--:|--:|---|",
    ]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows(comparisons)]
    lines += ["", "Public names without an outside check of their own, and why:", ""]
    listed = {reason: [n for n in names if n in public_names()] for reason, names in NOT_A_QUANTITY.items()}
    lines += [f"* {reason}: {', '.join(f'`{n}`' for n in names)}." for reason, names in listed.items() if names]
    lines += ["", "Entries of `references.json` that no check uses, and why:", ""]
    lines += [f"* {reason}: {', '.join(names)}." for reason, names in UNUSED.items()]
    return "\n".join(lines)


def wrong(comparisons: Sequence, text: str) -> list[str]:
    """What is out of step: the table, the references, the public names."""
    used = {c.reference for c in comparisons}
    excused = {name for names in UNUSED.values() for name in names}
    listed = {e["id"] for e in json.loads((HERE / "references.json").read_text(encoding="utf-8"))["entries"]}
    said = [f"{name}: no check uses this reference, and no reason is given" for name in listed - used - excused]
    said += [f"{name}: excused, but a check uses it" for name in excused & used]
    covered = {name for test in {c.test for c in comparisons}
               for name in names_in(Path(test.split("::")[0]).name).get(test.split("::")[-1], ())}  # fmt: skip
    reasons = {name for names in NOT_A_QUANTITY.values() for name in names}
    said += [f"{name}: no outside check, and no reason is given" for name in set(public_names()) - covered - reasons]
    said += [
        f"{name}: excused, but checked or gone" for name in reasons if name in covered or name not in public_names()
    ]
    if without_digits(put(text, comparisons)) != without_digits(text):
        said.append("the table of README.md is not the one that the checks make: run make_table.py")
    return sorted(said)


def without_digits(text: str) -> list[list[str]]:
    """The table's rows without the column that another machine's last digits may change, nor which is furthest off."""
    lines = text.partition(BEGIN)[2].partition(END)[0].splitlines()
    return [[c for i, c in enumerate(line.split(" | ")) if i not in (1, 3, 4)] for line in lines]


def put(text: str, comparisons: Sequence) -> str:
    """The page with the table between its marks, added at the end where there are none."""
    before, _, rest = text.partition(BEGIN)
    after = rest.partition(END)[2] or "\n"
    return f"{before.rstrip()}\n\n{BEGIN}\n\n{table(comparisons)}\n\n{END}{after}"


if __name__ == "__main__":
    place = HERE / "README.md"
    if "--check" in sys.argv:
        found = wrong(collected(), place.read_text(encoding="utf-8"))
        sys.exit("\n".join(found) if found else 0)
    place.write_text(put(place.read_text(encoding="utf-8"), collected()), encoding="utf-8")
    sys.stdout.write(f"{place.name} is in step with the checks\n")
