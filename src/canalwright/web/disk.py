"""What is said when this machine's disk takes nothing."""

import errno
from pathlib import Path

FULL = frozenset({errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)})
SHUT = frozenset({errno.EACCES, errno.EPERM, errno.EROFS})


def refused(error: OSError, folder: Path) -> str:
    """Why nothing could be written in `folder`, and what to do, in one line."""
    if error.errno in FULL:
        return f"no room left in {folder}: make room there and try again"
    if error.errno in SHUT:
        return f"{folder} may not be written by this program: give it the right to and try again"
    return f"{folder} cannot be written ({error.strerror or error}): look after the disk and try again"
