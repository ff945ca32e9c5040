"""How the kernels of this room are compiled: see `canalwright.kernels`.

They allocate nothing, so that they do without numba's counting of references to arrays (`_nrt`), which took half of a coarse run.
"""

from canalwright.kernels import compiler

NAMES = ("kernel_", "layout")
njit = compiler("canalwright.heat", names=NAMES, error_model="numpy", fastmath={"contract", "nsz", "arcp"}, _nrt=False)
njit_sum = compiler("canalwright.heat", names=NAMES, error_model="numpy", fastmath=True, _nrt=False)
"""The same for a kernel that only sums: the order of its additions is free."""
