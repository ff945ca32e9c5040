"""The documentation site: `make docs` builds it into site/, and fails on a link that leads nowhere.

Pages are Markdown; the reference of the rooms is read from their docstrings, whose single backticks stand for code.
"""

import importlib
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent / "src"), str(HERE.parent)]

from release.parameters import page  # noqa: E402

from canalwright import __version__  # noqa: E402

project = "canalwright"
author = copyright = "the canalwright authors"
release = version = __version__
extensions = ["myst_parser", "sphinx.ext.autodoc"]
source_suffix = {".md": "markdown"}
myst_enable_extensions = ["colon_fence", "deflist"]
myst_heading_anchors = 3
default_role = "code"
suppress_warnings = ["docutils", "autodoc.mocked_object", "myst.header", "ref.python"]
exclude_patterns = ["decisions/README.md"]
autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_default_options = {"members": True, "imported-members": True, "ignore-module-all": False}
html_theme = "furo"
html_title = "canalwright"
html_show_sphinx = False
html_theme_options = {
    "announcement": "Decision support for trained, licensed clinicians. Not a certified medical device.",
    "footer_icons": [],
}
templates_path: list[str] = []

ROOMS = (
    "quantities", "instruments", "anatomy", "imaging", "shaping", "irrigation", "fit", "protocol", "heat", "compaction", "readiness",
    "planning", "guide", "assessment", "casefile", "records", "exchange", "report", "cohort", "hazards",
)  # fmt: skip
"""The rooms whose public names the reference lists, lowest first."""


def _write_reference() -> None:
    """One page a room under api/, written anew for each build so that none is forgotten."""
    folder = HERE / "api"
    folder.mkdir(exist_ok=True)
    pages = []
    for room in ROOMS:
        module = importlib.import_module(f"canalwright.{room}")
        about = (module.__doc__ or "").strip().splitlines()[0]
        text = f"# {room}\n\n```{{eval-rst}}\n.. automodule:: canalwright.{room}\n```\n"
        target = folder / f"{room}.md"
        if not target.exists() or target.read_text(encoding="utf-8") != text:
            target.write_text(text, encoding="utf-8")
        pages.append(f"- [{room}]({room}.md): {about}")
    index = "# Reference of the rooms\n\nMade from the docstrings. Lengths mm, time s, temperature deg C, force N, pressure MPa.\n\n"
    toc = "\n".join(("```{toctree}", ":hidden:", "", *ROOMS, "```", ""))
    (folder / "index.md").write_text(index + "\n".join(pages) + "\n\n" + toc, encoding="utf-8")


def _write_parameters() -> None:
    """The page of every parameter, read anew from the tables of the rooms."""
    target, text = HERE / "models" / "parameters.md", page()
    if not target.exists() or target.read_text(encoding="utf-8") != text:
        target.write_text(text, encoding="utf-8")


_write_reference()
_write_parameters()
