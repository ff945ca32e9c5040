"""Instruments: ISO sizes, tapered profiles, and the tools on a tray.

A `Profile` is a stack of diameters from the tip. Every tool but a needle has one. A `Tray` is what
the clinician owns; the generic one comes with the package (`canalwright.casefile.generic_tray`).
"""

from canalwright.instruments.profile import Profile
from canalwright.instruments.tools import Carrier, Cone, File, Needle, PaperPoint, Plugger, Sealer, Tray

__all__ = ["Carrier", "Cone", "File", "Needle", "PaperPoint", "Plugger", "Profile", "Sealer", "Tray"]
