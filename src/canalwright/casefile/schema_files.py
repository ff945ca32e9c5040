"""Write the JSON Schemas: `python -m canalwright.casefile.schema_files [FOLDER]` (docs/formats by default)."""

import json
import sys
from pathlib import Path
from typing import Any

from canalwright.casefile.schema import schema, tray_schema


def texts() -> dict[str, str]:
    """File name and content of each schema."""
    return {"case.schema.json": _text(schema()), "tray.schema.json": _text(tray_schema())}


def _text(content: dict[str, Any]) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path("docs/formats")
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts().items():
        (folder / name).write_text(text, encoding="utf-8")
