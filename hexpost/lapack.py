"""The routines of LAPACK that are used, without the rest of ``scipy.linalg``.

Importing that package takes longer than numpy and scipy themselves, and a short job as long as all it computes: it
loads numpy's test tools and its compiler of Fortran. The compiled module in it needs none of that, and is taken by
itself where it is found; it is the very one that ``scipy.linalg.lapack`` hands on.
"""

import sys
from importlib import import_module
from importlib.machinery import PathFinder
from importlib.util import module_from_spec
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import scipy

if TYPE_CHECKING:
    from scipy.linalg.lapack import dgesv, dgtsv, dpbtrf, dpbtrs

__all__ = ["dgesv", "dgtsv", "dpbtrf", "dpbtrs"]

COMPILED = "scipy.linalg._flapack"


def routines() -> ModuleType:
    """Return the compiled module, or the public one where scipy is built in another way."""
    if COMPILED in sys.modules:
        return sys.modules[COMPILED]
    if "scipy.linalg" not in sys.modules:
        found = PathFinder.find_spec(COMPILED, [str(Path(place) / "linalg") for place in scipy.__path__])
        if found is not None and found.loader is not None:
            module = sys.modules[COMPILED] = module_from_spec(found)  # scipy.linalg finds it there if it comes later
            found.loader.exec_module(module)
            return module
    return import_module("scipy.linalg.lapack")


if not TYPE_CHECKING:
    dgesv, dgtsv, dpbtrf, dpbtrs = (getattr(routines(), name) for name in __all__)
