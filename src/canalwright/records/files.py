"""Files that are there whole or not at all, and readable by their owner only."""

import contextlib
import errno
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from canalwright.records.errors import DiskFull, StoreReadOnly

PRIVATE_FILE, PRIVATE_FOLDER = 0o600, 0o700


def write_whole(path: Path, data: bytes) -> None:
    """Write `path` so that a power cut leaves the old file or the new one. Raises DiskFull, StoreReadOnly."""
    with whole(path) as file:
        file.write(data)


@contextlib.contextmanager
def whole(path: Path) -> Iterator[BinaryIO]:
    """A file to write to that takes its name only when the block ends well, flushed to the disk first."""
    waiting = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    with plain_words(path):
        try:
            waiting.touch(mode=PRIVATE_FILE, exist_ok=False)
            with waiting.open("r+b") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            waiting.replace(path)
            sync_folder(path.parent)
        finally:
            waiting.unlink(missing_ok=True)


@contextlib.contextmanager
def plain_words(path: Path) -> Iterator[None]:
    """Say in plain words what the operating system meant."""
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            raise DiskFull(
                f"no room left to write {path}; nothing was changed. Free some space and try again"
            ) from error
        if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
            raise StoreReadOnly(f"{path} cannot be written here ({error.strerror}); nothing was changed") from error
        raise


def sync_folder(folder: Path) -> None:
    """Make a rename in `folder` last through a power cut, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def private_folder(path: Path) -> Path:
    """Make a folder that only its owner may enter."""
    with plain_words(path):
        path.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)
    return path
