"""What a reader prefers, kept by the browser in two plain cookies: the language, and how teeth are numbered."""

from collections.abc import Mapping
from dataclasses import dataclass

from canalwright.anatomy import Tooth
from canalwright.web.words import LANGUAGES, Words, words_of


@dataclass(frozen=True, slots=True)
class Prefs:
    """Language, and Universal numbers (True) or ISO 3950 ones."""

    language: str = "en"
    universal: bool = False

    @classmethod
    def of(cls, cookies: Mapping[str, str]) -> "Prefs":
        """From the cookies of a request; what is not known is left as it is by default."""
        language = cookies.get("cw_language", "en")
        return cls(language if language in LANGUAGES else "en", cookies.get("cw_teeth") == "universal")

    @property
    def words(self) -> Words:
        """The catalogue of the language."""
        return words_of(self.language)

    def tooth(self, tooth: Tooth) -> str:
        """The number of a tooth as this reader writes it."""
        return f"#{tooth.universal}" if self.universal else str(tooth.code)
