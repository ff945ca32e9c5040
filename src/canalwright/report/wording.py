"""The words of a letter or leaflet: a text with named fields that a clinic may change, and what becomes of it.

A text is paragraphs parted by blank lines; a line that begins with `# ` is its title, with `## ` a heading, with `- ` an item.
`{field}` stands for what the records say. A paragraph with a field that the records cannot fill is left out as a whole, and
the reader of the draft is told which. A field that does not exist is an error.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Literal

Document = Literal["letter", "leaflet"]
DOCUMENTS: tuple[Document, ...] = ("letter", "leaflet")
LANGUAGES = ("en", "es")
LONGEST = 20_000
BLOCKS = ("canals", "numbers")
"""Fields that stand alone in their paragraph, for a table."""
_FIELD = re.compile(r"\{([^{}\n]*)\}")
_NUMBER = re.compile(r"(?<![\w.,-])\d+(?:[.,]\d+)?(?![\w])")


class WordingError(ValueError):
    """A text that cannot be used: what is wrong, where, what to do, in one line."""


@dataclass(frozen=True)
class Part:
    """A piece of the finished text: `kind` is title, heading, item, text, or the name of a block (its text is empty)."""

    kind: str
    text: str


@dataclass(frozen=True)
class Filled:
    """A text with its fields filled.

    `left_out` are the paragraphs that the records could not fill, with the fields that were missing; `typed` numbers that stand
    in the text itself and come from no record.
    """

    parts: tuple[Part, ...]
    left_out: tuple[tuple[str, tuple[str, ...]], ...]
    typed: tuple[str, ...]

    @property
    def text(self) -> str:
        """The finished words, one part a line; blocks by name."""
        return "\n".join(p.text or f"[{p.kind}]" for p in self.parts)


def wording(document: str, language: str, folder: Path | None = None) -> str:
    """The text of a document: the clinic's own `folder`/<document>.<language>.md, or the one that comes along.

    Raises WordingError for another document or language, or a file that is no text.
    """
    if document not in DOCUMENTS or language not in LANGUAGES:
        raise WordingError(
            f"{document} in {language!r}: documents are {', '.join(DOCUMENTS)}, languages {', '.join(LANGUAGES)}"
        )
    name = f"{document}.{language}.md"
    if folder is not None and (folder / name).is_file():
        return read(folder / name)
    return files("canalwright.report").joinpath("wordings", name).read_text(encoding="utf-8")


def read(path: Path) -> str:
    """A text from a file. Raises WordingError when it is none, OSError when it cannot be read."""
    with path.open("rb") as file:
        content = file.read(4 * LONGEST + 1)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise WordingError(f"{path.name}: not a UTF-8 text; save it as plain text in UTF-8") from None


def fill(text: str, values: Mapping[str, str | None], name: str = "text") -> Filled:
    """Fill the fields of a text.

    `values` names every field that exists; None or an empty value cannot be filled. Raises WordingError for an unknown field,
    a brace alone, a block that is not alone, or a text that is empty or too long, with the line.
    """
    if len(text) > LONGEST:
        raise WordingError(f"{name}: {len(text)} characters; a document has at most {LONGEST}")
    parts: list[Part] = []
    left_out: list[tuple[str, tuple[str, ...]]] = []
    typed: list[str] = []
    for line, raw in _paragraphs(text):
        fields = _fields(raw, values, f"{name}, line {line}")
        missing = tuple(dict.fromkeys(f for f in fields if not values[f]))
        if missing:
            left_out.append((raw, missing))
            continue
        if len(fields) == 1 and fields[0] in BLOCKS:
            parts.append(Part(fields[0], ""))
            continue
        kind, bare = _kind(raw)
        typed += _NUMBER.findall(_FIELD.sub(" ", bare))
        parts.append(Part(kind, _FIELD.sub(lambda m: str(values[m[1]]), bare)))
    if not parts:
        raise WordingError(f"{name}: nothing is left to print; write at least one paragraph without fields")
    return Filled(tuple(parts), tuple(left_out), tuple(dict.fromkeys(typed)))


def _paragraphs(text: str) -> list[tuple[int, str]]:
    """Each paragraph with the number of its first line; titles, headings and items are paragraphs of their own."""
    found: list[tuple[int, str]] = []
    open_ = False
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.strip()
        if not bare:
            open_ = False
        elif open_ and not bare.startswith(("# ", "## ", "- ")):
            found[-1] = (found[-1][0], f"{found[-1][1]} {bare}")
        else:
            found.append((number, bare))
            open_ = not bare.startswith(("# ", "## "))
    return found


def _fields(raw: str, values: Mapping[str, str | None], where: str) -> list[str]:
    fields = _FIELD.findall(raw)
    for field in fields:
        if field not in values:
            raise WordingError(
                f"{where}: there is no field {{{field[:40]}}}; the fields are {', '.join(sorted(values))}"
            )
        if field in BLOCKS and raw != f"{{{field}}}":
            raise WordingError(f"{where}: {{{field}}} is a table and stands alone between blank lines")
    if "{" in _FIELD.sub("", raw) or "}" in _FIELD.sub("", raw):
        raise WordingError(f"{where}: a brace without its partner; write a field as {{tooth}}")
    return fields


def _kind(raw: str) -> tuple[str, str]:
    for mark, kind in (("## ", "heading"), ("# ", "title"), ("- ", "item")):
        if raw.startswith(mark):
            return kind, raw.removeprefix(mark).strip()
    return "text", raw
