"""The child of `apart`: run as a script, so that it loads the decoder and nothing of ours.

One line of JSON in for each file (its path, its frame numbers or null); for each frame a line of JSON out and the greys after it,
or a line with what went wrong.
"""

import json
import sys
import warnings
from pathlib import Path
from typing import Any, BinaryIO

from pydicom.pixels.utils import iter_pixels, pixel_array


def serve(asked: BinaryIO, told: BinaryIO) -> None:
    """Decode until `asked` ends."""
    for line in asked:
        name, numbers = json.loads(line)
        try:
            found: Any = (
                [pixel_array(Path(name), raw=True)]
                if numbers is None
                else iter_pixels(Path(name), indices=numbers, raw=True)
            )
            for grey in found:
                data = grey.tobytes()
                head = {"kind": grey.dtype.str, "shape": list(grey.shape), "bytes": len(data)}
                told.write(json.dumps(head).encode() + b"\n" + data)
                told.flush()
        except Exception as error:  # the decoder raises of every kind on damaged input
            told.write(json.dumps({"error": " ".join(str(error).split())[:200] or "damaged"}).encode() + b"\n")
            told.flush()
            return  # how far it came is unknown to who asked: the next begins anew


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    serve(sys.stdin.buffer, sys.stdout.buffer)
