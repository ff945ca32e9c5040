"""Files that are there whole or not at all, readable by their owner only: a power cut leaves the old file or the new one."""

import os
import tempfile
from pathlib import Path


def write_whole(content: bytes, path: Path) -> None:
    """Write a file: to a temporary one beside it whose name begins with a dot, flushed to the disk, then renamed.

    Raises OSError when the folder cannot be written.
    """
    path = path.resolve()
    handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        Path(temporary).chmod(0o600)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
