"""One shape for every refusal of a scan, and nothing said beside it."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager

from canalwright.imaging.errors import ScanError


def refusal(file: object, wrong: str, *, allowed: str = "", remedy: str = "") -> ScanError:
    """A ScanError in one line: `file` (or what stands for it), what is wrong, what is allowed, what to do."""
    parts = [f"{file}: {wrong}"]
    if allowed:
        parts.append(f"allowed: {allowed}")
    if remedy:
        parts.append(remedy)
    return ScanError("; ".join(" ".join(part.split()) for part in parts))


@contextmanager
def silent(name: str) -> Iterator[None]:
    """Keep a library from logging what our own error will say."""
    logger = logging.getLogger(name)
    was, logger.disabled = logger.disabled, True
    try:
        yield
    finally:
        logger.disabled = was
