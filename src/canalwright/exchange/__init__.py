"""Handing a case over: DICOM (encapsulated PDF, segmentation, structured report), HL7 FHIR, and files without identity.

`dossier_of` reads a case of the records; everything that leaves is written from that. `deidentify` works on any DICOM files.
"""

from canalwright.exchange.dossier import CanalStory, Dossier, dossier_of
from canalwright.exchange.errors import ExchangeError
from canalwright.exchange.facts import LEAVES_OUT, Fact

__all__ = ["LEAVES_OUT", "CanalStory", "Dossier", "ExchangeError", "Fact", "dossier_of"]
