"""What can be wrong with a scan or a surface, said in one line: file, what, what is allowed, what to do.

ImagingError (a ValueError)
  +- ScanError     voxels: a series, a volume, a mask, a point in it
  +- SurfaceError  a lumen, dentine or enamel mesh
  +- CorrectionError  a correction that cannot be, or that does not fit what was found
"""


class ImagingError(ValueError):
    """Bad imaging input; the message is one line that names the file and the remedy."""


class ScanError(ImagingError):
    """A scan that cannot be read, or a point or mask that does not fit it."""


class SurfaceError(ImagingError):
    """A mesh that cannot be read, or that is not the lumen or dentine of one tooth."""


class CorrectionError(ImagingError):
    """A correction that cannot be, or that does not fit the canals it is meant for."""
