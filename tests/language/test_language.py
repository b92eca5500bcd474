"""Which language is spoken, how its sentences are found, and that carried sentences are told in it."""

from __future__ import annotations

import asyncio
import os
import re
import subprocess
import sys
from datetime import date

import pytest

from shortpencil.forms.rules import in_tables_said, many_said, missed_in_english, one_said, phase_said
from shortpencil.scan.language import (
    _,
    carried,
    day_said,
    days_told,
    from_browser,
    from_environment,
    listed,
    number,
    percent,
    speaking,
    spoken,
    told,
)
from shortpencil.scan.language.asked_for import OWN
from tests.language.catalogue import collected


@pytest.mark.parametrize(
    ("environment", "language"),
    [
        ({}, "en"),
        ({"LANG": "de_DE.UTF-8"}, "de"),
        ({"LANG": "en_GB.UTF-8", "LC_MESSAGES": "de_AT"}, "de"),
        ({"LANG": "de_DE", "LC_ALL": "C"}, "en"),
        ({"LANG": "C.UTF-8", "LANGUAGE": "de"}, "en"),  # GNU gettext manual, 2.3.3
        ({"LANG": "en_GB", "LANGUAGE": "sv:de:en"}, "de"),
        ({"LANG": "fr_FR"}, "en"),
        ({"LANG": "de_DE", OWN: "en"}, "en"),
        ({"LC_ALL": "C", OWN: "de"}, "de"),
    ],
)
def test_the_environment_says_the_language(environment: dict[str, str], language: str) -> None:
    assert from_environment(environment) == language


@pytest.mark.parametrize(
    ("header", "language"),
    [
        ("", None),
        ("de", "de"),
        ("de-CH, de;q=0.9, en;q=0.8", "de"),
        ("en-US,en;q=0.9,de;q=0.8", "en"),
        ("fr;q=1, en;q=0.2, de;q=0.7", "de"),
        ("de;q=0, en;q=0.1", "en"),
        ("de;q=much, en", "en"),
        ("fr", None),
        (",;=,;q=," * 99, None),
    ],
)
def test_a_browser_says_the_language(header: str, language: str | None) -> None:
    assert from_browser(header) == language


def test_a_language_that_is_not_known_is_english() -> None:
    with speaking("tlh"):
        assert spoken() == "en"


def test_two_requests_at_once_each_have_their_language() -> None:
    heard: list[tuple[str, str]] = []

    async def request(language: str) -> None:
        with speaking(language):
            for _step in range(3):
                await asyncio.sleep(0)
                heard.append((language, _("January")))

    async def both() -> None:
        await asyncio.gather(request("de"), request("en"))

    asyncio.run(both())
    assert set(heard) == {("de", "Januar"), ("en", "January")}
    assert [language for language, _name in heard[:4]] == [
        "de",
        "en",
        "de",
        "en",
    ]  # they did run side by side


def test_days_numbers_and_lists_in_both_languages() -> None:
    day = date(2026, 5, 3)
    said = []
    for language in ("en", "de"):
        with speaking(language):
            said.append(
                (day_said(day), day_said(day, long=True), number(-1.25, 2), percent(0.25), listed("abc"))
            )
    assert said[0] == ("3 May 2026", "Sunday 3 May 2026", "−1.25", "25\u00a0%", "a, b and c")
    assert said[1] == ("3. Mai 2026", "Sonntag, 3. Mai 2026", "−1,25", "25\u00a0%", "a, b und c")


def test_a_day_that_was_stored_in_english_is_told_anew() -> None:
    months = [date(2026, month, 3) for month in range(1, 13)]
    stored = [day_said(day) for day in months]
    with speaking("de"):
        assert [days_told(text) for text in stored] == [day_said(day) for day in months]
        assert days_told("perhaps 3 May 2026, Wren, 31 Mayo") == "perhaps 3. Mai 2026, Wren, 31 Mayo"
    assert days_told("3 May 2026") == "3 May 2026"


def test_a_phase_of_ones_own_is_a_noun_in_german() -> None:
    assert (one_said("scramble"), many_said("scramble")) == ("scramble throw", "scramble throws")
    assert (phase_said("scramble"), in_tables_said("scramble")) == ("scramble", "scramble")
    with speaking("de"):
        assert (one_said("scramble"), many_said("scramble")) == ("Scramble-Wurf", "Scramble-Würfe")
        assert (phase_said("scramble"), in_tables_said("scramble")) == ("Scramble", "Scramble")
        assert (phase_said("putt"), many_said("putt")) == ("Putt", "Putts")


def test_a_carried_sentence_is_told_with_its_values() -> None:
    path, row = "roster.csv", 3
    says = carried(f"{path}: the roster names no player.")
    assert told(says) == says
    with speaking("de"):
        assert told(says) == "roster.csv: In der Liste steht kein Spieler."
        assert told(f"store.sqlite, row {row}: {says}").endswith(": In der Liste steht kein Spieler.")
        assert told("Nobody ever wrote this.") == "Nobody ever wrote this."


def refusals() -> list[str]:
    """Why a photo is not read, as the code says it: what is the matter, then what to do."""
    sentences = {one.key for one in collected()["shared"] if one.file.startswith("scan/vision/")}
    texts = [key for key in sentences if isinstance(key, str)]
    return sorted(text for text in texts if re.match(r"[a-z{].*\. [A-Z].*[^.]$", text))


def test_every_refusal_of_a_photo_is_told_with_its_full_stop() -> None:
    found = refusals()
    assert len(found) > 15
    with speaking("de"):
        for sentence in found:
            said = re.sub(r"\{\w+\}", "7", sentence)
            expected = re.sub(r"\{\w+\}", "7", told(sentence))
            assert told(sentence) != sentence
            assert told(f"{said}.") == f"{expected}."
            several = told(f"none of its 3 pages shows a card. {said[0].upper()}{said[1:]}.")
            assert several == f"auf keiner der 3 Seiten ist eine Karte. {expected[0].upper()}{expected[1:]}."


def test_missing_corner_marks_are_told_behind_the_refusal() -> None:
    said = "it is too dark. Move out of the shadow, or switch a light on, and take it again"
    also = "Besides, the top left, top right and bottom left corner marks are outside the picture"
    with speaking("de"):
        assert told(f"{said}. {also}.") == (
            "es ist zu dunkel. Geh aus dem Schatten oder mach Licht an und mach es noch einmal. "
            "Außerdem: die Eckmarken oben links, oben rechts und unten links liegen außerhalb des Bildes."
        )


def test_what_was_expected_is_told_whole_behind_where_it_was_expected() -> None:
    texts = [one.key for one in collected()["shared"] if isinstance(one.key, str)]
    whole = [text for text in texts if text.startswith("expected ") and "{" not in text]
    assert len(whole) > 10
    with speaking("de"):
        for sentence in whole:
            assert told(sentence) != sentence
            assert told(f"/home/a: b/x.sqlite: {sentence}") == f"/home/a: b/x.sqlite: {told(sentence)}"


def test_what_is_wrong_with_rounds_is_told_line_by_line() -> None:
    says = (
        "rounds.json: nothing was taken from it, since:\n"
        "  round 1: expected only course, form; found 'a'\n"
        "  round 2 (X): expected a whole number or null, found 'x'"
    )
    with speaking("de"):
        assert told(says) == (
            "rounds.json: Nichts wurde daraus übernommen, denn:\n"
            "  Runde 1: erwartet war nur course, form; gefunden 'a'\n"
            "  Runde 2 (X): erwartet war eine ganze Zahl oder null, gefunden 'x'"
        )


def test_counted_misses_are_told_in_number_and_with_the_name_of_the_form() -> None:
    with speaking("de"):
        for number, phase, label, expected in (
            (1, "drive", "Abwurf", "1 Fehlwurf (Abwurf)"),
            (2, "approach", "Annäherung", "2 Fehlwürfe (Annäherungen)"),
            (3, "brush", "Gebüsch", "3 Fehlwürfe (Gebüsch-Würfe)"),
            (1, "brush", "Gebüsch", "1 Fehlwurf (Gebüsch-Wurf)"),
        ):
            says = f"you counted {missed_in_english(number, phase, label)}, the marks show 9"
            assert told(says) == f"du zähltest {expected}, die Markierungen zeigen 9"


def test_a_share_is_written_as_the_language_does() -> None:
    with speaking("de"):
        assert told("unclear: 5 (89%) or 3 (11%)") == "undeutlich: 5 (89\u00a0%) oder 3 (11\u00a0%)"
        assert told("s3://a/x1%20y.csv: the roster names no player.").startswith("s3://a/x1%20y.csv: In")
        assert told("100% of nobody's words") == "100% of nobody's words"


def test_a_page_of_a_file_is_told() -> None:
    with speaking("de"):
        assert told("scan.pdf, page 2") == "scan.pdf, Seite 2"
        assert told("no card on pages 1, 3 to 5 and 7, skipped") == (
            "keine Karte auf Seiten 1, 3 bis 5 und 7, übergangen"
        )


def test_english_opens_no_catalogue() -> None:
    code = (
        "import builtins, pathlib; from shortpencil.scan.cli.main import main\n"
        "opened = []; usual = pathlib.Path.open\n"
        "pathlib.Path.open = lambda self, *a, **k: (opened.append(str(self)), usual(self, *a, **k))[1]\n"
        "main(['print', '-o', 'x.pdf', '--form', 'none-such'])\n"
        "print([name for name in opened if name.endswith('.mo')])"
    )
    for language, some in (("en", False), ("de", True)):
        run = subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, OWN: language},
            capture_output=True,
            text=True,
            check=True,
        )
        assert (run.stdout.strip() != "[]") is some, language


@pytest.mark.parametrize(
    ("says", "in_german"),
    [
        ("hole 8, throw 2: a putt from 33 m is unusual", "ein Putt aus 33 m ist ungewöhnlich"),
        ("hole 3: the first throw of a hole is a drive, here it is an approach", "eine Annäherung"),
        ("hole 3, throw 2: from 9 m it is a putt by the rules, here it is a drive", "ein Abwurf"),
    ],
)
def test_a_throw_with_its_article_is_told(says: str, in_german: str) -> None:
    with speaking("de"):
        assert in_german in told(says)
