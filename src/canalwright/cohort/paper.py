"""A report as blocks (headings, text, tables, figures), written as one HTML file and as PDF; nothing is loaded from elsewhere.

The PDF is set by Typst from `paper.typ`; text reaches it as JSON, so that no name in a table can be read as markup.
"""

import csv
import io
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import files

import typst

from canalwright.cohort.job import Row
from canalwright.planning import CAUTION
from canalwright.report.svg import clean


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading."""

    text: str


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    text: str


@dataclass(frozen=True, slots=True)
class Grid:
    """A table of words; `title` above it."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing (SVG) with its caption."""

    svg: str
    caption: str

    @property
    def name(self) -> str:
        """Its name: what begins the ids within the drawing."""
        found = re.search(r'<title id="([^"]+)-title"', self.svg)
        return found[1] if found else "figure"


Block = Heading | Text | Grid | Figure


def html(title: str, blocks: Sequence[Block]) -> str:
    """The report as one self-contained page."""
    body = "\n".join(_html(block) for block in blocks)
    return (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(clean(title))}</title>\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n'
        f'<h1>{escape(clean(title))}</h1>\n<p class="caution" role="note">{escape(CAUTION)}</p>\n{body}\n</main>\n</body>\n</html>\n'
    )


def pdf(title: str, blocks: Sequence[Block]) -> bytes:
    """The report as PDF, A4; the same report gives the same bytes."""
    told = {"title": clean(title), "caution": CAUTION, "blocks": [_plain(block) for block in blocks]}
    template = files("canalwright.cohort").joinpath("paper.typ").read_bytes()
    made = typst.compile(
        template, format="pdf", sys_inputs={"data": json.dumps(told)}, ignore_system_fonts=True, timestamp=0
    )
    assert isinstance(made, bytes)
    return made


def csv_bytes(rows: Sequence[Row]) -> bytes:
    """Rows as CSV; columns in the order of their first appearance."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    out = io.StringIO()
    writer = csv.DictWriter(out, names, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def _html(block: Block) -> str:
    match block:
        case Heading(text):
            return f"<h2>{escape(clean(text))}</h2>"
        case Text(text):
            return f"<p>{escape(clean(text))}</p>"
        case Grid(title, columns, rows):
            head = "".join(f'<th scope="col">{escape(clean(c))}</th>' for c in columns)
            lines = "".join("<tr>" + "".join(f"<td>{escape(clean(c))}</td>" for c in row) + "</tr>" for row in rows)
            top = f"<caption>{escape(clean(title))}</caption><thead><tr>{head}</tr></thead>"
            return f'<div class="wide"><table>{top}<tbody>{lines}</tbody></table></div>'
        case Figure(svg, caption):
            return f"<figure>{svg}<figcaption>{escape(clean(caption))}</figcaption></figure>"


def _plain(block: Block) -> dict[str, object]:
    match block:
        case Heading(text) | Text(text):
            return {"kind": "heading" if isinstance(block, Heading) else "text", "text": clean(text)}
        case Grid(title, columns, rows):
            cells = [clean(c) for row in rows for c in row]
            return {"kind": "grid", "title": clean(title), "columns": [clean(c) for c in columns], "cells": cells}
        case Figure(svg, caption):
            return {"kind": "figure", "svg": svg, "caption": clean(caption)}


_STYLE = """
body{margin:0;background:#fff;color:#16181c;font:16px/1.5 Georgia,'Source Serif 4',serif}
main{max-width:60rem;margin:0 auto;padding:1.5rem}
h1{font-size:1.7rem;line-height:1.2}h2{font-size:1.25rem;margin-top:2rem}
.caution{border-left:4px solid #8a3c0a;padding:.4rem .8rem;background:#fbf4ee}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%;font-size:.92rem;font-variant-numeric:tabular-nums}
caption{text-align:left;font-weight:bold;padding:.4rem 0}
th,td{text-align:left;padding:.25rem .6rem;border-bottom:1px solid #d5d8de;vertical-align:top}
figure{margin:1.2rem 0}figure svg{max-width:100%;height:auto}figcaption{font-size:.92rem;color:#4a5160}
@media print{main{max-width:none}h2{break-after:avoid}figure,table{break-inside:avoid}}
"""
