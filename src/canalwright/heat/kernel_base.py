"""How the kernels of this room are compiled: see `canalwright.kernels`."""

from canalwright.kernels import compiler

NAMES = ("kernel_", "layout")
njit = compiler("canalwright.heat", names=NAMES, error_model="numpy", fastmath={"contract", "nsz", "arcp"})
njit_sum = compiler("canalwright.heat", names=NAMES, error_model="numpy", fastmath=True)
"""The same for a kernel that only sums: the order of its additions is free."""
