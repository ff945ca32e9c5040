"""The scan after the filling, brought onto the scan before it.

Rigid, by Mattes' mutual information (Mattes et al. 2003, IEEE Trans Med Imaging 22:120-128) through SimpleITK, over the root
about the canal, the canal itself left out: it is what changed. Starts: the position as recorded, the centres of the hard tissue,
and turns about the canal's axis. Afterwards the coronal and the apical half are registered on their own; how far the two
then move the canal apart is the residual. Half of a smooth root may tell nothing of the place along its axis and slides there; so along the
axis each half counts by how much it tells (`_residual`). A residual above `MOST` voxels, or greys that do not follow each
other, is refused.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import SimpleITK
from numpy.typing import NDArray

from canalwright.assessment.scan.line import CanalLine
from canalwright.imaging.errors import ScanError
from canalwright.imaging.volume import Scan

Array = NDArray[np.float64]
sitk: Any = SimpleITK
AROUND, CLEAR = 2.2, 0.35
"""The root about the line that is compared, and how far from the canal's wall it begins; mm."""
MOST = 1.0
LEAST_LIKENESS, GOOD = 0.5, 0.8
TURNS = (0.0, 90.0, 180.0, 270.0)
SAMPLES = 30_000


class RegistrationError(ScanError):
    """Two scans that do not fit together."""


@dataclass(frozen=True)
class Registered:
    """`grey`: the later scan on the voxels of `before` (a crop about the canal), its greys brought to the earlier scale. A place p
    of the earlier scan lies at `turn @ p + shift` in the later. `residual` mm between the halves, `likeness`
    correlation of greys about the canal.
    """

    before: Scan
    grey: NDArray[np.float32] = field(repr=False)
    turn: Array
    shift: Array
    residual: float
    likeness: float

    @property
    def residual_voxels(self) -> float:
        """The residual in voxels."""
        return self.residual / float(self.before.spacing.max())


def register(
    before: Scan,
    after: Scan,
    line: CanalLine,
    *,
    search: bool = False,
    step: Callable[[float], None] = lambda share: None,
) -> Registered:
    """Register; `search` also tries turns about the canal's axis (a specimen put back anyhow); `step` is told the share that is done.

    Raises RegistrationError.
    """
    room = AROUND + 0.6
    crop = before.crop(line.centre.min(0) - room, line.centre.max(0) + room)
    fixed, moving = _image(crop), _image(after)
    mask = _mask(crop, line, None)
    name = after.path or "the later scan"
    found, grey, likeness = _best(
        fixed, moving, mask, crop, _starts(crop, after, line, search), lambda share: step(0.5 * share)
    )
    if likeness < GOOD:
        again = _best(fixed, moving, mask, crop, _nearby(found, line), lambda share: step(0.5 + 0.5 * share))
        found, grey, likeness = max(((found, grey, likeness), again), key=lambda f: f[2])
    if not np.isfinite(likeness):
        raise RegistrationError(
            f"{name}: it does not cover the root about the canal: give the whole tooth in both scans"
        )
    inside = sitk.GetArrayFromImage(mask).astype(bool) & np.isfinite(grey)
    a, b = grey[inside], crop.array[inside]
    turn, shift = _rigid(found)
    residual = _residual(fixed, moving, crop, line, found)
    voxel = float(crop.spacing.max())
    if likeness < LEAST_LIKENESS or residual > MOST * voxel:
        raise RegistrationError(
            f"{name}: the two scans do not fit together (halves of the root {residual:.2f} mm apart, allowed {MOST * voxel:.2f} mm; "
            f"likeness {likeness:.2f}, allowed {LEAST_LIKENESS} or more): check that both are of this tooth, or scan again without movement"
        )
    slope, level = np.polyfit(a, b, 1) if abs(float(np.std(a))) > 0 else (1.0, 0.0)
    slope = float(np.std(b) / np.std(a)) if likeness < 0.98 else float(slope)
    level = float(np.mean(b) - slope * np.mean(a))
    return Registered(crop, np.asarray(slope * grey + level, np.float32), turn, shift, residual, likeness)


def _best(
    fixed: Any, moving: Any, mask: Any, crop: Scan, starts: list[Any], step: Callable[[float], None]
) -> tuple[Any, NDArray[np.float32], float]:
    """From the start with the most information in common: the transform, the later scan on the earlier, and their likeness."""
    tried = []
    for done, one in enumerate(starts, start=1):
        tried.append(_run(fixed, moving, mask, one, coarse=True))
        step(done / (len(starts) + 1))
    start, _ = min(tried, key=lambda f: f[1])
    found, _ = _run(fixed, moving, mask, start, coarse=False)
    grey = sitk.GetArrayFromImage(sitk.Resample(moving, fixed, found, sitk.sitkLinear, float("nan")))
    inside = sitk.GetArrayFromImage(mask).astype(bool) & np.isfinite(grey)
    if inside.sum() < 500:
        return found, grey, -np.inf
    return found, grey, float(np.corrcoef(grey[inside], crop.array[inside])[0, 1])


def _nearby(found: Any, line: CanalLine) -> list[Any]:
    """Starts about one that came out poorly: shifts and turns of half a millimetre and six degrees."""
    axis = (line.centre[-1] - line.centre[0]) / max(float(np.linalg.norm(line.centre[-1] - line.centre[0])), 1e-9)
    starts = []
    for along in (-0.6, 0.0, 0.6):
        for degrees in (-8.0, 0.0, 8.0):
            moved = sitk.Euler3DTransform()
            moved.SetCenter([float(v) for v in line.centre.mean(0)])
            turned = sitk.VersorRigid3DTransform()
            turned.SetRotation([float(v) for v in axis], float(np.radians(degrees)))
            moved.SetMatrix(turned.GetMatrix())
            moved.SetTranslation([float(v) for v in along * axis])
            starts.append(moved)
    return starts


def _starts(crop: Scan, after: Scan, line: CanalLine, search: bool) -> list[Any]:
    middle = line.centre.mean(0)
    plain = sitk.Euler3DTransform()
    plain.SetCenter([float(v) for v in middle])
    starts = [plain]
    shift = np.mean(after.extent, axis=0) - np.mean(crop.extent, axis=0)
    if np.linalg.norm(shift) > 1.0 and not after.holds(middle):
        starts = []
    axis = line.centre[-1] - line.centre[0]
    axis = axis / np.linalg.norm(axis)
    if search or not starts:
        for degrees in TURNS:
            turned = sitk.VersorRigid3DTransform()
            turned.SetCenter([float(v) for v in middle])
            turned.SetRotation([float(v) for v in axis], float(np.radians(degrees)))
            euler = sitk.Euler3DTransform()
            euler.SetCenter([float(v) for v in middle])
            euler.SetMatrix(turned.GetMatrix())
            euler.SetTranslation([float(v) for v in shift])
            starts.append(euler)
    return starts


def _run(fixed: Any, moving: Any, mask: Any, start: Any, *, coarse: bool) -> tuple[Any, float]:
    method = sitk.ImageRegistrationMethod()
    method.SetNumberOfThreads(1)
    method.SetMetricAsMattesMutualInformation(32)
    method.SetMetricFixedMask(mask)
    method.SetMetricSamplingStrategy(method.RANDOM)
    size = fixed.GetNumberOfPixels()
    method.SetMetricSamplingPercentage(min(1.0, SAMPLES / size), 7)
    method.SetInterpolator(sitk.sitkLinear)
    method.SetOptimizerAsRegularStepGradientDescent(
        1.0 if coarse else 0.1, 1e-3, 60 if coarse else 80, gradientMagnitudeTolerance=1e-6
    )
    method.SetOptimizerScalesFromPhysicalShift()
    method.SetShrinkFactorsPerLevel([3, 2] if coarse else [1])
    method.SetSmoothingSigmasPerLevel([2.0, 1.0] if coarse else [0.0])
    method.SmoothingSigmasAreSpecifiedInPhysicalUnitsOff()
    moved = sitk.Euler3DTransform(start)
    method.SetInitialTransform(moved, inPlace=True)
    try:
        method.Execute(fixed, moving)
        return moved, float(method.GetMetricValue())
    except RuntimeError:  # no overlap from this start
        return sitk.Euler3DTransform(start), np.inf


def _residual(fixed: Any, moving: Any, crop: Scan, line: CanalLine, found: Any) -> float:
    """How far the two halves of the root, each registered alone, put the canal apart, mean along it, mm.

    Across the canal half of their distance: each errs on its own. Along it sqrt(a b), where a and b are the halves' distances from
    the whole: the whole lies between them by what each tells, with weights u, v that add up to 1, and then its variance is u v times the
    square of their distance. Halves that tell the same give half of their distance here too.
    """
    cut = float(np.median(line.z))
    turn, shift = _rigid(found)
    whole = line.centre @ turn.T + shift
    axis = (whole[-1] - whole[0]) / np.linalg.norm(whole[-1] - whole[0])
    moved = []
    for upper in (True, False):
        mask = _mask(crop, line, (cut, upper))
        turn, shift = _rigid(_run(fixed, moving, mask, found, coarse=False)[0])
        moved.append(line.centre @ turn.T + shift)
    apart = moved[0] - moved[1]
    across = np.linalg.norm(apart - np.outer(apart @ axis, axis), axis=1) / 2
    along = np.sqrt(np.abs((moved[0] - whole) @ axis) * np.abs((moved[1] - whole) @ axis))
    return float(np.hypot(across, along).mean())


def _mask(crop: Scan, line: CanalLine, half: tuple[float, bool] | None) -> Any:
    nz, ny, nx = crop.shape
    k, j, i = np.meshgrid(np.arange(nz), np.arange(ny), np.arange(nx), indexing="ij")
    points = crop.to_patient(np.column_stack([i.ravel(), j.ravel(), k.ravel()]))
    z, across, at = line.place(points)
    inside = (across < AROUND) & (across > line.major[at] / 2 + CLEAR) & (z > -1.0) & (z < line.z[-1])
    inside &= np.linalg.norm(points - line.centre[0], axis=1) > 0.8
    if half is not None:
        inside &= (z > half[0]) == half[1]
    image = sitk.GetImageFromArray(inside.reshape(nz, ny, nx).astype(np.uint8))
    _place(image, crop)
    return image


def _image(scan: Scan) -> Any:
    image = sitk.GetImageFromArray(scan.array)
    _place(image, scan)
    return image


def _place(image: Any, scan: Scan) -> None:
    image.SetSpacing([float(v) for v in scan.spacing])
    image.SetOrigin([float(v) for v in scan.affine[:3, 3]])
    image.SetDirection([float(v) for v in (scan.affine[:3, :3] / scan.spacing).ravel()])


def _rigid(transform: Any) -> tuple[Array, Array]:
    turn = np.array(transform.GetMatrix()).reshape(3, 3)
    centre, move = np.array(transform.GetCenter()), np.array(transform.GetTranslation())
    return turn, np.asarray(centre + move - turn @ centre)
