"""How compiled kernels are cached: one stamp for all that stand in a room.

Numba's cache of a function knows only of the file that the function stands in; a change in a kernel that it calls from another
file would go unnoticed. So the kernels of a room carry one stamp, the hash of the text of the room's modules.
"""

import hashlib
from collections.abc import Callable
from importlib.resources import files
from typing import Any

import numba


def compiler(*rooms: str, names: tuple[str, ...] = ("",), **usual: Any) -> Callable[..., Any]:
    """A decorator that compiles a function at its first call, or loads it from the cache, without the interpreter lock.

    `rooms` are the packages whose modules make the stamp, those whose names begin with one of `names`; `usual` are
    options for `numba.njit`, which each use may add to: `@njit` or `@njit(parallel=True)`.
    """
    mark = _stamp(rooms, names)

    def compile_(function: Callable[..., Any] | None = None, **options: Any) -> Any:
        if function is None:
            return lambda f: compile_(f, **options)
        kernel = numba.njit(**{"cache": True, "nogil": True, **usual, **options})(function)
        # Numba offers no public way to add to the stamp; where this private one is gone, its own stamp stands.
        store = getattr(getattr(kernel, "_cache", None), "_cache_file", None)
        if store is not None and hasattr(store, "_source_stamp"):
            store._source_stamp = mark
        return kernel

    return compile_


def _stamp(rooms: tuple[str, ...], names: tuple[str, ...]) -> str:
    modules = [f for room in rooms for f in files(room).iterdir() if f.name.startswith(names)]
    sources = sorted((f for f in modules if f.name.endswith(".py")), key=str)
    return hashlib.sha256(b"".join(f.read_bytes() for f in sources)).hexdigest()
