"""A case as one file that other records can take in: a zip with a manifest, the events and the images.

It holds no identity, only the pseudonyms, but it is not encrypted: send it as one sends a radiograph.

    manifest.json    format, version, records and case it came from, SHA-256 and size of every other file
    events.jsonl     one event a line, in order
    images/<id>      as they were attached
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from canalwright.casefile.zipped import MOST_BYTES, ZipRefused, read_zip, write_zip
from canalwright.records.canonical import canonical, parsed
from canalwright.records.errors import ArchiveDamaged, BadEntry, StoreTooNew
from canalwright.records.events import Event, Kind, Origin
from canalwright.records.images import Image, digest, media_of
from canalwright.records.moments import stamp

FORMAT, VERSION = "canalwright case", 1
MOST_EVENTS = 100_000
NAME = re.compile(r"events\.jsonl|images/I-[0-9A-Z]{5}-[0-9A-Z]{5}")
LEFT_OUT = frozenset({Kind.EXPORT})


@dataclass(frozen=True)
class Packed:
    """One event as it lies in an archive."""

    kind: Kind
    payload: dict[str, Any]
    origin: Origin


@dataclass(frozen=True)
class Archive:
    """The content of an archive, checked."""

    store: str
    case: str
    events: tuple[Packed, ...]
    images: Mapping[str, bytes]


def write_archive(file: BinaryIO, store: str, case: str, events: list[Event], images: list[Image]) -> None:
    """Write a case. `events` are all of the case, as recorded."""
    kept = [e for e in events if e.kind not in LEFT_OUT and e.payload is not None]
    lines = b"".join(canonical(_line(store, event)) + b"\n" for event in kept)
    contents = {"events.jsonl": lines, **{f"images/{image.id}": image.content for image in images}}
    write_zip(file, {"format": FORMAT, "version": VERSION, "store": store, "case": case}, contents)


def read_archive(path: Path) -> Archive:
    """Read and check a whole archive in memory; nothing is unpacked to the disk.

    Raises ArchiveDamaged for anything missing, changed, unknown, doubled or too large, StoreTooNew for a later format.
    """
    if path.exists() and not path.is_file():
        raise ArchiveDamaged(f"{path.name} is refused: it is no file")
    try:
        with path.open("rb") as file:
            manifest, contents = read_zip(file, NAME, parse=parsed, check=_ours(path), most=MOST_BYTES)
        if "events.jsonl" not in contents:
            raise ZipRefused("it holds no events")
        events = _events(contents.pop("events.jsonl"))
        images = {name.removeprefix("images/"): data for name, data in contents.items()}
        _images_fit(events, images)
        return Archive(str(manifest["store"]), str(manifest["case"]), events, images)
    except BadEntry as error:
        raise ArchiveDamaged(f"{path.name} holds something that cannot be taken in: {error}") from None
    except (ZipRefused, OSError) as error:
        raise ArchiveDamaged(f"{path.name} is refused: {error}") from None
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        raise ArchiveDamaged(f"{path.name} is not as it was written ({error!r})") from None


def _ours(path: Path) -> Callable[[Mapping[str, Any]], None]:
    def check(manifest: Mapping[str, Any]) -> None:
        if manifest.get("format") != FORMAT:
            raise ArchiveDamaged(f"{path.name} is no archive of a case")
        if manifest.get("version") != VERSION:
            raise StoreTooNew(f"{path.name} has format {manifest.get('version')}; this program reads format {VERSION}")

    return check


def _line(store: str, event: Event) -> dict[str, object]:
    origin = event.origin
    return {
        "seq": event.seq,
        "kind": event.kind.value,
        "payload": event.payload,
        "time": origin.time if origin else stamp(event.time),
        "author": origin.author if origin else event.author,
        "store": store,
        "case": event.case,
        "hash": event.hash,
    }


def _events(data: bytes) -> tuple[Packed, ...]:
    lines = data.splitlines()
    if not 0 < len(lines) <= MOST_EVENTS:
        raise ArchiveDamaged(f"an archive holds 1 to {MOST_EVENTS} events, this one {len(lines)}")
    found: list[Packed] = []
    for line in lines:
        record = parsed(line)
        kind, payload = Kind(str(record["kind"])), record["payload"]
        if not isinstance(payload, dict) or not (kind.of_user or kind in (Kind.CASE, Kind.IMAGE, Kind.CORRECTION)):
            raise ArchiveDamaged(f"an event of kind {kind.value} has no place in an archive")
        found.append(Packed(kind, payload, Origin.from_json(record)))
    if found[0].kind is not Kind.CASE or [p.kind for p in found].count(Kind.CASE) != 1:
        raise ArchiveDamaged("the events do not begin with the opening of one case")
    numbers = [p.origin.seq for p in found]
    if numbers != sorted(set(numbers)):
        raise ArchiveDamaged("the events are not in order")
    return tuple(found)


def _images_fit(events: tuple[Packed, ...], images: Mapping[str, bytes]) -> None:
    named = {str(p.payload.get("image")): p.payload for p in events if p.kind is Kind.IMAGE}
    if set(named) != set(images):
        raise ArchiveDamaged("images and events do not fit each other")
    for name, content in images.items():
        if media_of(content) != named[name].get("media") or digest(content) != named[name].get("sha256"):
            raise ArchiveDamaged(f"image {name} is not the one that was attached")
