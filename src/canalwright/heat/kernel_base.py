# mypy: disallow-untyped-defs=False, disallow-untyped-calls=False, disallow-untyped-decorators=False
"""How the kernels are compiled: without the interpreter lock, cached on disk.

Numba's cache of a function knows only of the file that the function stands in; a change in a kernel that it calls from another
file would go unnoticed. So all kernels carry one stamp, the hash of the text of them all.
"""

import hashlib
from importlib.resources import files

import numba


def _stamp():
    names = sorted(f.name for f in files("canalwright.heat").iterdir() if f.name.startswith(("kernel_", "layout")))
    text = b"".join((files("canalwright.heat") / name).read_bytes() for name in names if name.endswith(".py"))
    return hashlib.sha256(text).hexdigest()


STAMP = _stamp()


def njit(function, free_order=False):
    """Compile a kernel at its first call, or load it from the cache."""
    kernel = numba.njit(
        cache=True, nogil=True, error_model="numpy", fastmath=free_order or {"contract", "nsz", "arcp"}
    )(function)
    store = getattr(getattr(kernel, "_cache", None), "_cache_file", None)
    if store is not None and hasattr(store, "_source_stamp"):
        store._source_stamp = STAMP
    return kernel


def njit_sum(function):
    """The same for a kernel that only sums: the order of its additions is free."""
    return njit(function, free_order=True)
