"""fermkit: raw fermentation readings in, a defensible yield report out."""

import copyreg
import importlib
import re
import sys
from pathlib import Path
from typing import Any

import lazy_loader

__version__ = "0.2.0"

_from_stub, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)

MODULES = {"panels": "fermkit.show.panels", "plots": "fermkit.show.plots"}


def __getattr__(name: str) -> Any:
    """A public name, imported when it is first asked for; of any other, the room where it lives."""
    if name in MODULES:
        return importlib.import_module(MODULES[name])
    try:
        return _from_stub(name)
    except AttributeError:
        raise AttributeError(f"fermkit has no {name!r}{_way_to(name)}") from None


def _way_to(name: str) -> str:
    """Where a name that is not at the top is defined."""
    here = Path(__file__).parent
    for path in sorted(here.rglob("*.py")) if name.isidentifier() and not name.startswith("_") else ():
        if re.search(rf"^(def|class) {name}\b", path.read_text(encoding="utf-8"), re.MULTILINE):
            module = ".".join(("fermkit", *path.relative_to(here).with_suffix("").parts))
            return f" at the top; write: from {module} import {name}"
    return ""


# lazy_loader gives this module a class of its own, which cloudpickle cannot send to a joblib or Dask worker
copyreg.pickle(type(sys.modules[__name__]), lambda module: (importlib.import_module, (module.__name__,)))
