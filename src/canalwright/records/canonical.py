"""One way to write a JSON value as bytes, so that its hash means something.

Keys sorted, no spaces, UTF-8, no NaN or infinity. Floats keep the shortest form that reads back the same.
"""

import json
from collections.abc import Mapping

from canalwright.records.errors import BadEntry

Json = None | bool | int | float | str | list["Json"] | dict[str, "Json"]
LARGEST = 8 * 1024 * 1024


def canonical(value: object) -> bytes:
    """`value` as canonical JSON. Raises BadEntry for what JSON cannot hold, or more than 8 MiB."""
    try:
        text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
        data = text.encode()
    except (TypeError, ValueError, RecursionError) as error:
        raise BadEntry(f"this cannot be kept as JSON: {error}; use text, finite numbers, lists and objects") from None
    if len(data) > LARGEST:
        raise BadEntry(f"an entry of {len(data)} bytes is over the limit of {LARGEST}; attach large things as images")
    return data


def parsed(data: bytes) -> dict[str, Json]:
    """The object written in `data`. Raises ValueError when it is not a JSON object."""
    value = json.loads(data, parse_constant=_no_constant)
    if not isinstance(value, dict):
        raise ValueError("not a JSON object")
    return value


def checked(payload: Mapping[str, object]) -> dict[str, Json]:
    """A deep copy of `payload` as plain JSON. Raises BadEntry when a key is not text or a value not JSON."""
    if not isinstance(payload, Mapping):
        raise BadEntry(f"an entry must be a JSON object, not {type(payload).__name__}")
    if not all(isinstance(key, str) for key in payload):
        raise BadEntry("the keys of an entry must be text")
    return parsed(canonical(dict(payload)))


def _no_constant(name: str) -> Json:
    raise ValueError(f"{name} is no JSON number")
