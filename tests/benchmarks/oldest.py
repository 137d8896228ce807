"""The oldest versions that pyproject.toml allows, one pin a line, for an installation to test against.

    python tests/benchmarks/oldest.py lab test > oldest.txt
    python -m pip install -c oldest.txt -e ".[lab,test]"

Names on the command line are the extras whose bounds are wanted too.
"""

import re
import sys
import tomllib
from pathlib import Path

OF_THAT_TIME = ("pyparsing==3.1.1",)
"""matplotlib 3.8 calls names of pyparsing that later ones warn of, and warnings are errors in the tests."""

PYPROJECT = Path(__file__).resolve().parents[2] / "pyproject.toml"


def pins(extras: list[str]) -> list[str]:
    """``name==lower bound`` of every dependency, and of those of the extras."""
    project = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(one for extra in extras for one in project["optional-dependencies"][extra])]
    bounds = [re.fullmatch(r"([\w.-]+)>=([\d.]+)", one) for one in wanted]
    return sorted({f"{bound[1]}=={bound[2]}" for bound in bounds if bound is not None} | {*OF_THAT_TIME})


if __name__ == "__main__":
    print("\n".join(pins(sys.argv[1:])))
