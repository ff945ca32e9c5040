"""The JSON Schemas (draft 2020-12) of the case and the tray file."""

from typing import Any

from canalwright.casefile.case_model import CaseModel
from canalwright.casefile.tray_model import TrayModel

_DRAFT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, Any]:
    """JSON Schema of the case file. Rules that tie two keys together are not in it; `check` has them."""
    return {"$schema": _DRAFT, **CaseModel.model_json_schema(), "title": "canalwright case file, version 1"}


def tray_schema() -> dict[str, Any]:
    """JSON Schema of the tray file."""
    return {"$schema": _DRAFT, **TrayModel.model_json_schema(), "title": "canalwright tray file, version 1"}
