"""fermkit: raw fermentation readings in, a defensible yield report out."""

import copyreg
import importlib
import sys

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)

# lazy_loader gives this module a class of its own, which cloudpickle cannot send to a joblib or Dask worker
copyreg.pickle(type(sys.modules[__name__]), lambda module: (importlib.import_module, (module.__name__,)))
