"""Case files and tray files: the border where text becomes canals and instruments.

Two nouns. A `Case` is one tooth with its canals, read from a TOML case file. A tray file lists the
instruments a clinician owns and becomes a `Tray`. What is wrong in a file is a `CaseError`: one line for each
`Problem`.
"""

from canalwright.casefile.case import Case, check, demo_case, digest, from_model, from_table, load, loads
from canalwright.casefile.corrections import dump_corrections, load_corrections
from canalwright.casefile.dump import dump, dumps
from canalwright.casefile.found import from_found
from canalwright.casefile.problems import CaseError, Problem
from canalwright.casefile.schema import schema, tray_schema
from canalwright.casefile.tray import check_tray, generic_tray, load_tray, loads_tray

__all__ = [
    "Case",
    "CaseError",
    "Problem",
    "check",
    "check_tray",
    "demo_case",
    "digest",
    "dump",
    "dump_corrections",
    "dumps",
    "from_found",
    "from_model",
    "from_table",
    "generic_tray",
    "load",
    "load_corrections",
    "load_tray",
    "loads",
    "loads_tray",
    "schema",
    "tray_schema",
]
