"""The small cohort, run once in this process: what every other way of running it has to give."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from canalwright.cohort.fleet import Local
from canalwright.cohort.run import run
from tests.cohort.small import ABOUT, jobs


@pytest.fixture(scope="session")
def expected(tmp_path_factory: pytest.TempPathFactory) -> Iterator[bytes]:
    folder: Path = tmp_path_factory.mktemp("expected")
    yield run(jobs(), folder, Local(0), about=ABOUT).path.read_bytes()
