"""The catalogue: English is the key, numbers in a sentence pass through, what is missing stays English."""

from canalwright.web.words import Words, _pattern, words_of


def test_patterns_carry_their_numbers() -> None:
    words = Words("xx", {"apical": "APICAL"}, ((_pattern("the {0} plugger stops {1} mm short"), "{1} mm: {0}"),))
    assert words("the apical plugger stops 4.2 (3.9 to 4.6) mm short") == "4.2 (3.9 to 4.6) mm: APICAL"
    assert words("something else") == "something else"
    assert words.known("something else") is None


def test_a_capital_at_the_head_is_the_same_word() -> None:
    assert Words("xx", {"root surface": "superficie"}, ())("Root surface") == "Superficie"


def test_an_unknown_language_is_english() -> None:
    assert words_of("zz")("Plan") == "Plan"


def test_of_two_patterns_the_one_that_says_more_is_meant() -> None:
    """A range of a field does not swallow a sentence that happens to hold a `to` and end in mm."""
    words = words_of("es")
    assert words("5 to 10 mm") == "de 5 a 10 mm"
    assert words("backfill up to 15.5 mm") == "relleno hasta 15.5 mm"
    assert words("sealer into the distal lateral canal at 17.0") == "sellador en conducto lateral distal a 17.0"
    assert words("mm from distobuccal cusp tip") == "mm desde vértice de la cúspide distovestibular"
    assert (
        words("distal lateral canal at 17.0 fills, chance") == "conducto lateral distal a 17.0 se llena, probabilidad"
    )
    assert words("A quarter of the doubt about the lateral canal at 4 mm comes from its width.").startswith(
        "Un cuarto de la duda"
    )
    assert words("time for lateral canal 1.2 mm deep") == "tiempo para conducto lateral de 1.2 mm", (
        "a name of two words is one name"
    )
