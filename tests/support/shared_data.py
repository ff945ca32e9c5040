"""Where the real data for tests lies, when there is any: a folder beside the repository, or `CANALWRIGHT_DATA`."""

import os
from pathlib import Path

import pytest


def shared_data(*parts: str) -> Path:
    """Path of a real data file; the test is skipped where the data is not at hand."""
    root = Path(os.environ.get("CANALWRIGHT_DATA", Path(__file__).parents[3] / "shared" / "data"))
    path = root.joinpath(*parts)
    if not path.exists():
        pytest.skip(f"real data not at hand: {'/'.join(parts)}")
    return path
