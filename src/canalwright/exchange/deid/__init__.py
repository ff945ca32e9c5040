"""Taking identity out of DICOM files: the Basic Application Level Confidentiality Profile (PS3.15 Annex E), and stricter.

`deidentify` writes cleaned copies of files into a new folder and says what was removed;
`deidentify_held` does so in memory. Stricter than the profile: what its table does
not list is kept only when it is a number, a UID, a known term or a known code; no free text of the source survives. Suspected text in
the picture is flagged, never cleaned.
"""

from canalwright.exchange.deid.files import Cleaned, Report, deidentify, deidentify_held
from canalwright.exchange.deid.key import Key, Options

__all__ = ["Cleaned", "Key", "Options", "Report", "deidentify", "deidentify_held"]
