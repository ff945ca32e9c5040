"""All that was found in a tooth, written into one folder for other programs: a file a thing, named by what it is."""

from collections.abc import Sequence
from pathlib import Path

from canalwright.imaging.errors import ImagingError
from canalwright.imaging.exports.labels import labels, tooth_labels, write_labels
from canalwright.imaging.exports.segmentation import segmentation
from canalwright.imaging.exports.surfaces import SURFACES, pulp_surface, root_surface, write_surface
from canalwright.imaging.exports.tables import write_table
from canalwright.imaging.found import FoundCanal
from canalwright.imaging.grid import Grid
from canalwright.imaging.tooth.outline import Tooth
from canalwright.imaging.volume import Scan

KINDS = (*(s[1:] for s in SURFACES), "csv", "json", "nii", "seg")
USUAL = ("stl", "csv", "json", "nii")


def export(
    folder: Path,
    canals: Sequence[FoundCanal],
    kinds: Sequence[str] = USUAL,
    *,
    scan: Scan | None = None,
    whole: Grid | None = None,
    tooth: Tooth | None = None,
    series: str | None = None,
    region: tuple[str, str, str] | None = None,
    identity: bool = False,
) -> list[Path]:
    """Write every canal, and the tooth where it is known, as `kinds` of `KINDS`; returns the files in order.

    `scan`: where the canals were found, for labels; `whole`: the DICOM scan that it is a part of, for a segmentation, with
    `series`, `region` and `identity` as there. Raises ImagingError for an unknown kind, one that lacks its scan, and a
    folder that is not empty.
    """
    unknown = [k for k in kinds if k not in KINDS]
    if unknown:
        raise ImagingError(f"{folder}: kind {unknown[0]!r}; allowed: {', '.join(KINDS)}; give some of these")
    if scan is None and {"nii", "seg"} & set(kinds):
        raise ImagingError(f"{folder}: labels need a scan, and these canals are from surfaces; leave nii and seg out")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ImagingError(f"{folder}: not an empty folder; give a new one, so that nothing is written over")
    folder.mkdir(parents=True, exist_ok=True)
    made: list[Path] = []
    for kind in dict.fromkeys(kinds):
        if kind in ("csv", "json"):
            made += [write_table(c, folder / f"{_named(c.name)}.{kind}") for c in canals]
        elif kind in ("nii", "seg"):
            assert scan is not None
            mask, names = (
                (labels(canals, scan), tuple(c.name for c in canals))
                if tooth is None
                else (tooth_labels(tooth, canals, scan))
            )
            if kind == "nii":
                made.append(write_labels(mask, folder / "labels.nii.gz"))
                made.append(folder / "labels.txt")
                made[-1].write_text("".join(f"{n} {name}\n" for n, name in enumerate(names, 1)), encoding="utf-8")
            else:
                made.append(folder / "labels.dcm")
                whole_grid = scan if whole is None else whole
                segmentation(mask, names, whole_grid, series=series, region=region, identity=identity).save_as(made[-1])
        else:
            made += [write_surface(c, folder / f"{_named(c.name)}.{kind}") for c in canals]
            if tooth is not None:
                made.append(write_surface(root_surface(tooth), folder / f"tooth.{kind}"))
                made.append(write_surface(pulp_surface(tooth), folder / f"pulp.{kind}"))
    return made


def _named(name: str) -> str:
    """A canal's name as part of a file's."""
    return "".join(c if c.isalnum() else "-" for c in name).strip("-") or "canal"
