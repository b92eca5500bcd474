"""A card is called by day, course and player on the pages that ask and tell of it, as in every list."""

from __future__ import annotations

import re
from dataclasses import replace
from urllib.parse import quote

from shortpencil.forms.field_map import layout_to_json
from shortpencil.forms.form import form_from_toml
from shortpencil.forms.layout import PAPERS, arrange
from shortpencil.scan.reading import CardReading, FieldReading
from shortpencil.scan.records.composing.rounds import Value
from shortpencil.scan.records.recording.record_json import round_from_json
from shortpencil.scan.records.recording.typed import filled_out
from shortpencil.scan.records.store import Store
from shortpencil.scan.review.naming import names_of
from shortpencil.scan.review.shelf import name_of, round_shelf, shelf
from tests.records.cards import ENDS
from tests.review.conftest import NOON, SAMPLES, THREE, Page
from tests.year.season import typed_rounds


def words_of(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def say(store: Store, serial: str, **fields: object) -> None:
    for field, value in fields.items():
        store.answer(serial, field.replace("_", "."), value, "Wren", NOON)


def named(store: Store, serial: str) -> None:
    say(store, serial, player="Plover", course="Alder Meadow", date_day=2, date_month=8, date_year=26)


def test_a_question_names_its_card_as_the_lists_do(page: Page, store: Store, serial: str) -> None:
    named(store, serial)
    shown = words_of(page.browser().get("/ask?card=" + serial).text)
    assert re.search(rf"2 Aug 2026 · Alder Meadow[^·]* · Plover · card {serial}", shown)


def test_what_a_card_lacks_is_said_in_place_of_it(page: Page, store: Store, serial: str) -> None:
    shown = words_of(page.browser().get("/ask?card=" + serial).text)
    name = names_of(store.summaries())[serial]
    assert f"{name.day} · {name.course} · {name.player} · card {serial}" in shown


def test_the_page_after_a_photo_names_the_card_and_says_its_score(
    page: Page, store: Store, serial: str
) -> None:
    named(store, serial)
    photo = ("a.jpg", (SAMPLES / THREE).read_bytes(), "image/jpeg")
    shown = words_of(page.browser("phone").post("/capture", files=[("photos", photo)]).text)
    assert re.search(r"2 Aug 2026 · Alder Meadow[^·]* · Plover \d+ holes, score \d+ The photo, card", shown)


def test_of_several_rounds_of_a_day_the_question_says_which(page: Page, store: Store, serial: str) -> None:
    named(store, serial)
    first = store.round(serial)
    assert first is not None
    earlier = first.recorded_at and first.recorded_at.replace(year=2020)
    store.add_rounds([replace(first, id="EARLIER", recorded_at=earlier)])
    name = name_of(store, store.card(serial))
    assert name.nth == "second round of the day"
    assert name == shelf(store, page.desk.title_of).cards[serial]


def test_a_sheet_that_is_no_round_is_called_by_its_title_its_day_and_who_was_answered(
    page: Page, store: Store
) -> None:
    layout = arrange(form_from_toml(ENDS, source="ends.toml"), PAPERS["a4"]).layout
    blank = {field.id: FieldReading(None, 0.999) for field in layout.form.fields}
    blank |= {"e02.sum": FieldReading(41, 0.7, "unclear", alternatives=((47, 0.3),))}
    card = CardReading("e.jpg", "read", serial="8JSHR4Z5", form="F", fields=blank, photo_sha256="a" * 64)
    store.add_reading(card, layout.form, None, form_text=layout_to_json(layout))
    say(store, "8JSHR4Z5", player="Plover", date_day=14, date_month=6, date_year=26)
    name = name_of(store, store.card("8JSHR4Z5"))
    assert name.line == "14 Jun 2026, Six ends, Plover"
    assert name == shelf(store, page.desk.title_of).cards["8JSHR4Z5"]
    shown = words_of(page.browser().get("/ask/8JSHR4Z5/e02.sum").text)
    assert "14 Jun 2026 · Six ends · Plover · card 8JSHR4Z5" in shown


def test_a_doubtful_day_is_said_to_be_one_and_no_day_says_when_it_was_read(
    page: Page, store: Store, serial: str
) -> None:
    named(store, serial)
    whole = store.round(serial)
    assert whole is not None
    doubtful = Value("2026-05-03", p=0.8, status="doubtful", alternatives=(("2026-05-08", 0.2),))
    read_on = whole.recorded_at and whole.recorded_at.replace(year=2024, month=2, day=9)
    store.add_rounds(
        [
            replace(whole, id="DOUBTFUL", played_on=doubtful),
            replace(whole, id="UNDATED", played_on=Value(None), recorded_at=read_on),
        ]
    )
    names = round_shelf(store).rounds
    assert names["DOUBTFUL"].line.startswith("perhaps 3 May 2026, Alder Meadow")
    assert names["UNDATED"].line.startswith("no date yet, read 9 Feb 2024, Alder Meadow")
    assert "day" not in names["DOUBTFUL"].known
    shown = words_of(page.browser().get("/rounds").text)
    assert "perhaps 3 May 2026" in shown
    listed = words_of(page.browser().get("/who").text)
    assert re.search(r"perhaps 3 May 2026 Alder Meadow[^·]* · Plover card DOUBTFUL", listed)


def test_what_was_set_aside_is_named(page: Page, store: Store, serial: str) -> None:
    named(store, serial)
    page.browser().post(f"/rounds/{serial}/out", data={"how": "aside"})
    shown = words_of(page.browser().get("/rounds").text)
    assert re.search(
        rf"Set aside: 2 Aug 2026, Alder Meadow[^·]*, Plover, \d+ holes, score \d+, card {serial}", shown
    )


def test_a_glance_names_its_card(page: Page, store: Store, serial: str) -> None:
    glanced = f"{serial}~2026-08-01T12:00:00Z~3~0"
    named(store, serial)
    shown = words_of(page.browser().get(f"/ask?card={serial}&glanced={glanced}").text)
    assert re.search(rf"Kept: 3 values of 2 Aug 2026, Alder Meadow[^·]*, Plover, card {serial}", shown)


def test_what_is_heard_of_a_question_and_a_card_keeps_words_apart(
    page: Page, store: Store, serial: str
) -> None:
    browser = page.browser()
    asked = browser.get(f"/ask/{serial}/h05.drive").text
    heard = words_of(asked)
    assert "Hole 5, Drive" in heard  # the heading says the hole; to the eye it stands above
    assert "question 1 of 3" in heard
    assert "asked because :" in heard
    assert "but then you counted" in heard
    assert "<title>The ink of hole 5, drive</title>" in asked
    card = browser.get(f"/card/{serial}?at=h05.drive").text
    assert 'aria-label="Hole 1, par: 3"' in card  # read from the ink: the rule, said once in the legend
    assert 'aria-label="Hole 5, drive: waits for you"' in card
    assert 'scope="col" aria-label="first approach"' in card


def test_a_name_that_would_read_backwards_is_written_out_and_still_found(page: Page, store: Store) -> None:
    backwards = "\u202eliveT"
    rounds = [round_from_json(filled_out(given)) for given in typed_rounds(2)]
    store.add_rounds(replace(one, player=name) for one, name in zip(rounds, (backwards, "Wren"), strict=True))
    browser = page.browser()
    asked = "?player=" + quote(backwards)
    of_one = ["/" + asked, "/rounds" + asked, "/player?name=" + quote(backwards)]
    for path in ("/", "/rounds", "/players", "/who", *of_one):
        between_tags = re.sub(r"<[^>]*>", "\n", browser.get(path).text)
        assert "\u202e" not in between_tags, path
    listed = browser.get("/rounds" + asked).text
    assert listed.count('href="/rounds/') == 1
    assert "\\u202eliveT" in listed
    assert f'<option value="{backwards}" selected>\\u202eliveT</option>' in listed
