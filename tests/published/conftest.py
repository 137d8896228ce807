"""The `published` fixture: hold a number to a printed one, and remember the comparison."""

import json
import os
from dataclasses import dataclass
from pathlib import Path

import pytest

REFERENCES = {
    entry["id"]: entry
    for entry in json.loads(Path(__file__).with_name("references.json").read_text(encoding="utf-8"))["entries"]
}


@dataclass(frozen=True)
class Comparison:
    """One number of ours beside one from outside."""

    quantity: str
    found: float
    expected: float
    tolerance: float
    reference: str
    source: str
    verification: str
    test: str


COMPARISONS: list[Comparison] = []


class Published:
    """Checks against the outside, each with its source beside it."""

    entries = REFERENCES

    def check(self, quantity, found, expected, tolerance, *, reference="", source="", verification=""):
        """Assert |found - expected| <= tolerance; `reference` is an id in references.json.

        Without a `reference`, `source` and `verification` ("read", "computed", "memory") must be given.
        """
        if reference:
            entry = REFERENCES[reference]
            source = source or entry["source"]
            verification = verification or entry["verification_level"]
        assert source and verification, f"{quantity}: a check needs a source and how it was verified"
        found = float(getattr(found, "nominal_value", found))
        test = os.environ["PYTEST_CURRENT_TEST"].split(" ")[0].split("[")[0]
        comparison = Comparison(
            quantity, found, float(expected), float(tolerance), reference, source, verification, test
        )
        COMPARISONS.append(comparison)
        assert abs(found - expected) <= tolerance, (
            f"{quantity}: found {found!r}, published {expected!r} ± {tolerance!r} ({source})"
        )


@pytest.fixture(scope="session")
def published():
    """The recorder of outside checks."""
    return Published()
