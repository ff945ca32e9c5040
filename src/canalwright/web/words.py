"""The words of the page in the reader's language.

English is the key; `catalogue/<language>.toml` gives the rest, and `<language>.<part>.toml` what only a part of the house says. Words of
the core (names of numbers, findings) go through the same catalogue; those with numbers in them match its `[pattern]` entries, whose `{0}`,
`{1}` stand for the numbers and names. A refusal ("file: wrong; allowed: these; remedy") that the catalogue lacks as a whole is told by
its clauses, each with a line of its own; where one of them has none it stays English.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

CUT = re.compile("; |: |[.] |(?<=[?]) ")
"""What parts the clauses of a refusal."""
OWN = re.compile(r"[^(]|.*[:;.]\\ ", re.DOTALL)
"""A pattern that begins with words of its own or has several clauses itself."""
LANGUAGES = {"en": "English", "es": "Español"}


@dataclass(frozen=True)
class Words:
    """A catalogue: `words("Plan")` gives the word in `language`, the English one where it is missing."""

    language: str = "en"
    exact: Mapping[str, str] = field(default_factory=dict, repr=False)
    patterns: tuple[tuple[re.Pattern[str], str], ...] = field(default=(), repr=False)

    def __call__(self, english: str, **values: object) -> str:
        """The text in this language, `values` put into its braces."""
        found = self.known(english, own=True) or self.by_clauses(english) or self.known(english) or english
        return found.format(**values) if values else found

    def known(self, english: str, *, own: bool = False) -> str | None:
        """The text in this language, or None where the catalogue lacks it; a capital or a full stop makes no other text.

        `own`: of a text of several clauses not by a pattern whose first gap would swallow whole clauses ("{0} is empty").
        """
        if self.language == "en":
            return english
        bare = english[:1].lower() + english[1:].removesuffix(".")
        if english in self.exact:
            return self.exact[english]
        if bare in self.exact:
            return _as_in(english, self.exact[bare])
        whole = own and CUT.search(english) is not None
        for pattern, target in self.patterns:
            if whole and not OWN.match(pattern.pattern):
                continue
            if bare != english and (out := self._matched(pattern, target, bare)):
                return _as_in(english, out)
            if out := self._matched(pattern, target, english):
                return out
        return None

    def by_clauses(self, english: str) -> str | None:
        """The text told clause by clause, what stands before the first one as it is (a file, a canal: a name, so no list);
        None where a clause is not known."""
        cuts = [cut.span() for cut in CUT.finditer(english)]
        ends = [*cuts, (len(english), len(english))]
        told: dict[int, str | None] = {}
        for begin in reversed([0, *(end for _, end in cuts)]):
            told[begin] = self._clauses(english, begin, ends, told)
        if told[0] is not None:
            return told[0]
        for start, end in cuts:
            head, rest = english[:start], told[end]
            if english[start] == ":" and rest is not None and (", " not in head or "/" in head):
                return f"{self.exact.get(head, head)}: {rest}"
        return None

    def _clauses(
        self, english: str, begin: int, ends: list[tuple[int, int]], told: Mapping[int, str | None]
    ) -> str | None:
        """What begins at `begin`: the shortest clause with a line in the catalogue after which the rest is `told` as well."""
        for end, after in ends:
            rest = "" if end == len(english) else told.get(after)
            if end > begin and rest is not None and (clause := self.known(english[begin:end], own=True)) is not None:
                return clause + english[end:after] + rest
        return None

    def _found(self, english: str) -> str | None:
        if english in self.exact:
            return self.exact[english]
        return next(
            (out for pattern, target in self.patterns if (out := self._matched(pattern, target, english))), None
        )

    def _matched(self, pattern: re.Pattern[str], target: str, english: str) -> str:
        match = pattern.fullmatch(english)
        if match is None:
            return ""
        parts = [self._part(part) for part in match.groups()]
        return re.sub(r"\{(\d)\}", lambda found: parts[int(found[1])], target)

    def _part(self, text: str) -> str:
        """What stands in a gap: a name of the catalogue, a list of them, one with its number, or a number with its interval."""
        if ": " in text and text not in self.exact and (told := self.by_clauses(text)) is not None:
            return told
        number = re.match(r"[\d−-]", text) and " gauge" not in text  # a needle has its number for a name
        known = self.exact.get(text) if number else self._found(text)
        if known is not None:
            return known
        for between in ("; ", ", "):
            if between in text:
                return between.join(map(self._part, text.split(between)))
        named = re.fullmatch(r"(.+?) ([\d.]+ %)", text)
        if named:
            return f"{self._part(named[1])} {named[2]}"
        return re.sub(r"(?<=\d) to (?=[\d−-])", self.exact.get(" to ", " to "), text)


def _as_in(english: str, found: str) -> str:
    """What was found, with the capital or the full stop of the text that it was found for."""
    sentence = english[:1].isupper() or english.endswith(".")
    head = found[:1].upper() + found[1:] if sentence else found
    return head + ("." if english.endswith(".") else "")


ENGLISH = Words()


def canal_words(words: Words, name: str) -> str:
    """A canal by its name; that of a tooth with one is called nothing but canal."""
    said = words(name)
    return said if said == words("canal") else words("{canal} canal", canal=said)


@cache
def words_of(language: str) -> Words:
    """The catalogue of a language; English for one that is unknown."""
    if language == "en" or language not in LANGUAGES:
        return ENGLISH
    folder = files("canalwright.web").joinpath("catalogue")
    names = sorted(f.name for f in folder.iterdir() if re.fullmatch(rf"{language}(\.\w+)?\.toml", f.name))
    tables = [tomllib.loads(folder.joinpath(name).read_text(encoding="utf-8")) for name in names]
    found = {key: value for table in tables for key, value in table.get("pattern", {}).items()}
    patterns = tuple((_pattern(key), found[key]) for key in sorted(found, key=_said, reverse=True))
    exact = {key: value for table in tables for key, value in table.get("words", {}).items()}
    return Words(language, exact, patterns)


def _said(key: str) -> int:
    """How much a pattern says itself: of two that match, the one that says more is meant. A beginning of its own counts as a word more."""
    return len(re.sub(r"\{\d\}", "", key)) + (0 if key.startswith("{") else 6)


def _pattern(key: str) -> re.Pattern[str]:
    """A key with `{0}`, `{1}`, ... as a regular expression that takes them in this order.

    Of two gaps with but a blank between them the first takes all the words that it can: a name, then its number.
    """
    parts = re.split(r"\{\d\}", key)
    gaps = ["(.+)" if after == " " else "(.+?)" for after in parts[1:]]
    found = re.escape(parts[0]) + "".join(gap + re.escape(after) for gap, after in zip(gaps, parts[1:], strict=True))
    return re.compile(found, re.DOTALL)
