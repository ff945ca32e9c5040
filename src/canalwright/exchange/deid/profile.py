"""Table E.1-1 of DICOM PS3.15: what the Basic Profile asks for each attribute, and what may stay of those it does not list."""

import tomllib
from functools import cache
from importlib.resources import files

TABLE = "profile.toml"
TERMS = "terms.toml"


@cache
def actions() -> dict[int, str]:
    """Action code of the basic profile by tag, as in `profile.toml`."""
    table = tomllib.loads(files(__package__).joinpath(TABLE).read_text(encoding="utf-8"))
    return {int(tag, 16): action for action, tags in table.items() for tag in tags.split()}


@cache
def terms() -> frozenset[str]:
    """Code strings that are defined terms of the standard and therefore nobody's name."""
    table = tomllib.loads(files(__package__).joinpath(TERMS).read_text(encoding="utf-8"))
    return frozenset(word for text in table.values() for word in text.split("|"))
