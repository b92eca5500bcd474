"""Causes of built-in cards are said in the language that is spoken, others as their card prints them."""

from __future__ import annotations

import pytest

from shortpencil.forms.catalog import builtin_names, load_form
from shortpencil.forms.causes import CAUSES, causes_of_card, causes_said
from shortpencil.forms.form import Cause
from shortpencil.scan.language import LANGUAGES, speaking

WITH_CAUSES = sorted(name for name in builtin_names() if load_form(name, unit="m", hand="right").causes)


def test_built_in_cards_ask_for_causes() -> None:
    assert {"round18", "round18-de"} <= set(WITH_CAUSES)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", WITH_CAUSES)
def test_a_built_in_card_of_any_language_speaks_ours(name: str, language: str) -> None:
    causes = load_form(name, unit="m", hand="right").causes
    with speaking(language):
        assert causes_of_card(causes) == causes_said()
    assert [cause.id for cause in causes] == list(CAUSES)


def test_the_card_of_a_language_prints_what_is_said_in_it() -> None:
    for name, language in (("round18", "en"), ("round18-de", "de")):
        with speaking(language):
            assert {c.id: c.label for c in load_form(name, unit="m", hand="right").causes} == causes_said()


def test_words_of_a_card_of_ones_own_stay_as_they_are() -> None:
    own = (
        Cause(1, "early", "let go too soon"),
        Cause(2, "dog", "the dog"),
        Cause(3, "late", "zu spät, festgehalten"),
    )
    with speaking("de"):
        assert causes_of_card(own) == {
            "early": "let go too soon",
            "dog": "the dog",
            "late": "zu spät, festgehalten",
        }
    assert causes_of_card(own)["late"] == "released late, grip held"
