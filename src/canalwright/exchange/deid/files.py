"""From files to cleaned copies in a new folder, and what is told about it.

Nothing is written over: the folder must be new or empty, and copies are numbered, since a file's name may be a person's. A file that
cannot be cleaned whole is not written at all. What is told holds no value of any source.
"""

import json
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import pydicom
from pydicom import config
from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.errors import InvalidDicomError
from pydicom.uid import UID, ExplicitVRLittleEndian

from canalwright import __version__
from canalwright.exchange.deid import burned, pixels, rules
from canalwright.exchange.deid.clean import clean
from canalwright.exchange.deid.key import Key, Options
from canalwright.exchange.errors import ExchangeError

IMPLEMENTATION = "2.25.188275921174265482712346157735424120142"
ENCAPSULATED = "1.2.840.10008.5.1.4.1.1.104"
EDITION = "DICOM PS3.15 2026c, Table E.1-1, Basic Profile"
NOT_DONE = (
    "Text in the picture is suspected and flagged, never removed: look at each flagged file by eye, and at the others too.",
    "Somebody could rebuild a face from a cone-beam scan of the head, and know a person by their teeth: the picture itself is as it was.",
    "Numbers of the acquisition stay (doses, sizes, series and instance numbers); rare ones may point to a device or a day.",
    "Presentation states, plans and documents lose what makes them useful: cleaned copies of them may not open everywhere.",
)


@dataclass(frozen=True)
class Cleaned:
    """One file: the name of its copy, how its attributes fared, what was done to the picture, and why text in it is suspected."""

    name: str
    done: tuple[tuple[str, str, str, int], ...]
    picture: tuple[str, ...]
    suspected: tuple[str, ...]


@dataclass(frozen=True)
class Report:
    """All that was done. `left_out`: files that were not written, by their number among `sources` (from 1), and why."""

    sources: tuple[Path, ...]
    files: tuple[Cleaned, ...]
    left_out: tuple[tuple[int, str], ...]
    shifted: bool

    def as_json(self) -> dict[str, Any]:
        """As plain JSON types; without any value or name of a source."""
        total: Counter[tuple[str, str, str]] = Counter()
        for each in self.files:
            for path, tag, what, count in each.done:
                total[path, tag, what] += count
        return {
            "profile": EDITION,
            "options": ["Retain Longitudinal Temporal Information, modified dates (of study, series, acquisition, content)"] * self.shifted,
            "written": len(self.files),
            "left_out": [{"source": number, "why": why} for number, why in self.left_out],
            "attributes": [
                {"path": path, "tag": tag, "what": what, "count": n} for (path, tag, what), n in sorted(total.items())
            ],
            "suspected_text": [{"file": f.name, "why": list(f.suspected)} for f in self.files if f.suspected],
            "files": [{"file": f.name, "picture": list(f.picture), "changed": sum(n for *_, n in f.done)} for f in self.files],
            "not_done": list(NOT_DONE),
        }  # fmt: skip


def deidentify(sources: Iterable[Path], out: Path, key: Key | None = None, options: Options | None = None) -> Report:
    """Write a cleaned copy of every DICOM file of `sources` (files, or folders with all below them) and `report.json` into `out`.

    Raises ExchangeError when `out` is neither new nor empty, holds a source, or no source is DICOM; OSError from the disk.
    """
    key, options = key or Key.fresh(), options or Options()
    found = list(_files(sources))
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise ExchangeError(f"{out}: is there already and not empty; name a new folder, nothing is written over")
    if any(out.resolve() in (p.resolve(), *p.resolve().parents) for p in found):
        raise ExchangeError(f"{out}: holds the sources; name a folder elsewhere")
    out.mkdir(parents=True, exist_ok=True)

    def keep(name: str, content: bytes) -> None:
        with (out / name).open("xb") as file:
            file.write(content)

    report = _all(found, keep, key, options)
    with (out / "report.json").open("x", encoding="utf-8") as file:
        json.dump(report.as_json(), file, indent=1)
    if not report.files:
        raise ExchangeError(f"none of {len(found)} files could be cleaned; {out / 'report.json'} says why for each")
    return report


def deidentify_held(
    contents: Sequence[bytes], key: Key | None = None, options: Options | None = None
) -> tuple[Report, dict[str, bytes]]:
    """The same for files that are held in memory, by nothing but their content; what was cleaned, by the names of the copies.

    Raises ExchangeError when none is DICOM that can be cleaned.
    """
    made: dict[str, bytes] = {}
    report = _all([BytesIO(c) for c in contents], made.__setitem__, key or Key.fresh(), options or Options())
    if not made:
        raise ExchangeError(
            f"none of {len(contents)} files could be cleaned: {report.left_out[0][1]}"
            if contents
            else "choose DICOM files"
        )
    return report, made


def _all(found: Sequence[Path | BytesIO], keep: Callable[[str, bytes], None], key: Key, options: Options) -> Report:
    written: list[Cleaned] = []
    left_out: list[tuple[int, str]] = []
    for number, source in enumerate(found, 1):
        name = f"{len(written) + 1:05d}.dcm"
        try:
            told, content = _one(source, number, name, key, options)
        except ExchangeError as error:
            left_out.append((number, str(error)))
            continue
        keep(name, content)
        written.append(told)
    paths = tuple(s if isinstance(s, Path) else Path(f"file {i}") for i, s in enumerate(found, 1))
    return Report(paths, tuple(written), tuple(left_out), options.shift_dates)


def cleaned(content: Any, name: str, key: Key, options: Options) -> tuple[Any, Cleaned]:
    """A dataset read from a file, cleaned (it is used up), with a new file head. Raises ExchangeError when it cannot be cleaned whole."""
    sop = str(content.get("SOPClassUID", ""))
    if not rules.registered(sop):
        raise ExchangeError(
            f"{name}: its SOP class is none of the standard's; what a private kind of file holds is not known"
        )
    document = sop.startswith(ENCAPSULATED)
    if document and str(content.get("MIMETypeOfEncapsulatedDocument", "")) != "application/pdf":
        raise ExchangeError(
            f"{name}: an encapsulated document other than PDF cannot be replaced by a blank one; leave it out"
        )
    suspected = burned.by_kind(content)
    picture = pixels.plain(content, name)
    boxes = [box for frame in pixels.samples(content) for box in burned.text_like(frame)]
    if boxes:
        places = "; ".join(f"rows {b.top}-{b.bottom}, columns {b.left}-{b.right}" for b in boxes[:5])
        suspected.append(f"marks that look like text: {places}")
    tally = clean(content, key, options)
    if boxes:
        content.BurnedInAnnotation = "YES"
    fresh = FileDataset("", Dataset(), preamble=b"\0" * 128, file_meta=_meta(content))
    for element in content:
        fresh.add(element)
    done = tuple((*what, n) for what, n in sorted(tally.done.items()))
    return fresh, Cleaned(name, done, tuple(picture), tuple(suspected))


def _one(source: Path | BytesIO, number: int, name: str, key: Key, options: Options) -> tuple[Cleaned, bytes]:
    called, out = f"source {number}", BytesIO()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            content = _read(source, called)
            made, told = cleaned(content, name, key, options)
            made.save_as(out, enforce_file_format=True, implicit_vr=False, little_endian=True)
    except ExchangeError as error:
        raise ExchangeError(str(error).replace(name, called)) from None
    except OSError:
        raise
    except Exception as error:  # the library raises of every kind on damaged input; then nothing of the file stays
        raise ExchangeError(
            f"{called}: cannot be written cleanly ({type(error).__name__}); it is damaged or of a rare kind"
        ) from None
    return told, out.getvalue()


def _read(source: Path | BytesIO, called: str) -> Any:
    before = config.settings.reading_validation_mode
    config.settings.reading_validation_mode = config.IGNORE
    try:
        content = pydicom.dcmread(source)
    except (InvalidDicomError, EOFError):
        raise ExchangeError(f"{called}: no DICOM file; left out") from None
    except OSError:
        raise
    except Exception as error:  # as above
        raise ExchangeError(f"{called}: cannot be read to its end ({type(error).__name__}); it is damaged") from None
    finally:
        config.settings.reading_validation_mode = before
    if "DirectoryRecordSequence" in content:
        raise ExchangeError(f"{called}: a directory of a disc, which names persons; left out")
    return content


def _meta(content: Any) -> FileMetaDataset:
    """A file head of our own: nothing of the source's goes over."""
    made = FileMetaDataset()
    made.MediaStorageSOPClassUID = content.SOPClassUID
    made.MediaStorageSOPInstanceUID = content.SOPInstanceUID
    made.TransferSyntaxUID = ExplicitVRLittleEndian
    made.ImplementationClassUID = UID(IMPLEMENTATION)
    made.ImplementationVersionName = f"CANALWRIGHT{__version__}"[:16]
    return made


def _files(sources: Iterable[Path]) -> Iterator[Path]:
    for source in sources:
        if source.is_dir():
            yield from sorted(p for p in source.rglob("*") if p.is_file() and not p.is_symlink())
        else:
            yield source
