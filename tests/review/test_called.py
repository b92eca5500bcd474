"""A card is called by day, course and player on the pages that ask and tell of it, as in every list."""

from __future__ import annotations

import re
from dataclasses import replace

from forms.field_map import layout_to_json
from forms.form import form_from_toml
from forms.layout import PAPERS, arrange
from scan.reading import CardReading, FieldReading
from scan.records.store import Store
from scan.review import year
from scan.review.naming import names_of
from tests.records.test_other_sheets import ENDS
from tests.review.conftest import NOON, SAMPLES, THREE, Page


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
    name = year.name_of(page.desk, store.card(serial))
    assert name.nth == "second round of the day"
    assert name == year.shelf(page.desk).cards[serial]


def test_a_sheet_that_is_no_round_is_called_by_its_title_its_day_and_who_was_answered(
    page: Page, store: Store
) -> None:
    layout = arrange(form_from_toml(ENDS, source="ends.toml"), PAPERS["a4"]).layout
    blank = {field.id: FieldReading(None, 0.999) for field in layout.form.fields}
    blank |= {"e02.sum": FieldReading(41, 0.7, "unclear", alternatives=((47, 0.3),))}
    card = CardReading("e.jpg", "read", serial="8JSHR4Z5", form="F", fields=blank, photo_sha256="a" * 64)
    store.add_reading(card, layout.form, None, form_text=layout_to_json(layout))
    say(store, "8JSHR4Z5", player="Plover", date_day=14, date_month=6, date_year=26)
    name = year.name_of(page.desk, store.card("8JSHR4Z5"))
    assert name.line == "14 Jun 2026, Six ends, Plover"
    assert name == year.shelf(page.desk).cards["8JSHR4Z5"]
    shown = words_of(page.browser().get("/ask/8JSHR4Z5/e02.sum").text)
    assert "14 Jun 2026 · Six ends · Plover · card 8JSHR4Z5" in shown
