"""The command line: one plain verb per stage. Thin: it reads, calls and prints; no arithmetic.

Exit codes: 0 done; 1 a fault in the program itself; 2 bad input, nothing written; 3 done, but a finding of the
worst kind stands on the plan (only with `--strict`); 130 stopped by the user.
"""

from canalwright.cli.app import main

__all__ = ["main"]
