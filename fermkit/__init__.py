"""fermkit: raw fermentation readings in, a defensible yield report out."""

import copyreg
import importlib
import sys
from typing import Any

import lazy_loader

_from_stub, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)

MODULES = {"panels": "fermkit.show.panels", "plots": "fermkit.show.plots"}


def __getattr__(name: str) -> Any:
    """A public name, imported when it is first asked for."""
    return importlib.import_module(MODULES[name]) if name in MODULES else _from_stub(name)


# lazy_loader gives this module a class of its own, which cloudpickle cannot send to a joblib or Dask worker
copyreg.pickle(type(sys.modules[__name__]), lambda module: (importlib.import_module, (module.__name__,)))
