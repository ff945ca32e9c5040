"""What the fuzzer starts from is really read, and what it once kept ends in success or a plain refusal, nothing else."""

from pathlib import Path

import pytest
from fuzz.targets import TARGETS

CORPUS = Path(__file__).parents[2] / "fuzz" / "corpus"
MOST_BYTES = 600_000


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_every_seed_is_accepted(name: str) -> None:
    """Else the fuzzer would only ever knock at the first check."""
    assert [TARGETS[name].answer(seed) for seed in TARGETS[name].seeds()] == [""] * len(TARGETS[name].seeds())


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_every_kept_input_ends_in_success_or_a_refusal(name: str) -> None:
    kept = sorted((CORPUS / name).iterdir())
    assert kept, "no corpus kept"
    for path in kept:
        TARGETS[name].run(path.read_bytes())


def test_the_corpus_stays_small() -> None:
    files = [p for p in CORPUS.rglob("*") if p.is_file()]
    assert sum(p.stat().st_size for p in files) < MOST_BYTES
    assert {p.parent.name for p in files} == set(TARGETS)


def test_a_reader_says_nothing_beside_its_refusal(capfd: pytest.CaptureFixture[str]) -> None:
    """No library's traceback or warning on the terminal; what the readers of the ITK formats print themselves cannot be kept back."""
    for name in ("dicom", "tiff", "film", "stl", "ply", "obj"):
        for path in sorted((CORPUS / name).iterdir()):
            TARGETS[name].run(path.read_bytes())
    said = capfd.readouterr()
    assert "Traceback" not in said.out + said.err
    assert "tifffile" not in said.out + said.err
