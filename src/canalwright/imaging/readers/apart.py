"""Pixels decoded in a process of their own, where the only decoder there is may not survive damaged ones.

Lossless JPEG, in which many scans come, is decoded by one library alone, and a damaged byte can end the process that it runs in.
Here that is a child which does nothing else: it reads a file and frame numbers from its input and writes greys to its output.
When it ends, the scan is refused and the program goes on.
"""

import json
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray


class Apart:
    """A decoder in a child process, started when it is first needed; to be used in a `with` statement."""

    def __init__(self) -> None:
        self._child: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._child is not None:
            self._child.kill()
            self._child.communicate()

    def decode(self, file: Path, numbers: Sequence[int] | None) -> Iterator[NDArray[np.generic]]:
        """The stored greys of a file's frames `numbers`, or of the one image that it is. Raises ValueError for damage."""
        child = self._child = self._child or _start()
        if child.stdin is None or child.stdout is None:
            raise ValueError("no way to the decoder")
        try:
            child.stdin.write(json.dumps([str(file), None if numbers is None else list(numbers)]).encode() + b"\n")
            child.stdin.flush()
        except OSError:
            raise ValueError("damaged: the decoder broke off") from None
        for _ in [None] if numbers is None else numbers:
            line = child.stdout.readline()
            told: dict[str, Any] = (
                json.loads(line) if line.endswith(b"\n") else {"error": "damaged: the decoder broke off"}
            )
            if "error" in told:
                raise ValueError(told["error"])
            data = child.stdout.read(told["bytes"])
            if len(data) != told["bytes"]:
                raise ValueError("damaged: the decoder broke off")
            yield np.frombuffer(data, np.dtype(told["kind"])).reshape(told["shape"])


def _start() -> subprocess.Popen[bytes]:
    script = Path(__file__).with_name("apart_child.py")
    return subprocess.Popen(
        [sys.executable, "-P", str(script)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
