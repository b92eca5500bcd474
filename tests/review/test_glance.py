"""The page of all doubtful cells, in process: what it shows, keeps, refuses, takes back, card after card."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.field_map import layout_from_json
from shortpencil.scan.asking import EVERYTHING
from shortpencil.scan.intake import read_file
from shortpencil.scan.reading import GLANCE, CardReading
from shortpencil.scan.records.store import Store, open_store
from shortpencil.scan.review.glance import ELSE, pairs_of
from tests.review.conftest import SAMPLES, THREE, Page
from tests.review.doubtful import DOUBTS, doubtful_store, glance_of

SERIALS = ("DVBT2222", "DVBT3333")
FIRST, SECOND = SERIALS


@pytest.fixture(scope="module")
def reading(catalog: Catalog) -> CardReading:
    return read_file(SAMPLES / THREE, catalog).readings[0]


@pytest.fixture(scope="module")
def made(reading: CardReading, catalog: Catalog, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("doubt") / "rounds.sqlite"
    doubtful_store(place, catalog, reading, SERIALS)
    return place


@pytest.fixture
def store(made: Path, tmp_path: Path) -> Iterator[Store]:
    place = tmp_path / "rounds.sqlite"
    place.write_bytes(made.read_bytes())
    with open_store(place) as opened:
        yield opened


def pairs(store: Store, serial: str = FIRST):
    card = store.card(serial)
    text = store.form_text(card.reading.form or "")
    return pairs_of(card, layout_from_json(text or ""))


def sent(store: Store, **other: str) -> dict[str, object]:
    """The form as a browser sends it: every pair as the tool would write it, but for `other`."""
    shown = pairs(store)
    values = {f"value-{p.field}": other.get(p.field, p.candidates[0].value) for p in shown}
    return {"field": [p.field for p in shown], "seen": [str(p.seen) for p in shown], **values}


def test_pairs_come_hole_by_hole_and_hold_nothing_that_must_be_looked_at_alone(store: Store) -> None:
    assert [p.field for p in pairs(store)] == ["date.day", "h02.score", "h03.putt1", "h07.why", "h09.drive"]
    assert set(store.card(FIRST).waiting) - set(DOUBTS) == {"h05.drive", "h10.putt1.distance", "h12.why"}


def test_a_total_at_the_foot_comes_before_the_holes(store: Store) -> None:
    card, text = store.card(FIRST), store.form_text(store.card(FIRST).reading.form or "")
    names = ("h02.score", "h09.drive", "total")
    found = {name: card.reading.fields[name]._replace(flag="unclear", ask=GLANCE) for name in names}
    reading = replace(card.reading, fields={**card.reading.fields, **found})
    shown = pairs_of(replace(card, reading=reading, waiting=names), layout_from_json(text or ""))
    assert [pair.field for pair in shown] == ["total", "h02.score", "h09.drive"]


def test_a_pair_draws_its_value_in_the_cells_of_the_card(store: Store) -> None:
    card = store.card(FIRST)
    by_field = {p.field: p for p in pairs(store)}
    score = by_field["h02.score"].candidates
    assert "".join(d.text for d in score[0].cells) == str(card.fields["h02.score"].value)
    assert [d.text for d in score[1].cells][-1] == "9"
    putt = by_field["h03.putt1"].candidates[0].cells
    assert [d.filled for d in putt].count(True) == 1
    assert {d.shape for d in putt} == {"round", "square"}


def test_a_number_is_drawn_with_the_zero_that_stands_before_it(store: Store) -> None:
    date = next(p for p in pairs(store) if p.field == "date.day")
    card = store.card(FIRST)
    read = [card.reading.cells[f"date.day.{n}"].value for n in (1, 2)]
    assert [d.text for d in date.candidates[0].cells] == ["" if v is None else str(v) for v in read]


def test_no_probability_is_on_the_page(page: Page, store: Store) -> None:
    text = page.browser().get(f"/glance/{FIRST}").text
    assert "%" not in re.sub(r"<style.*?</style>", "", text)
    assert text.count('class="pair"') == len(DOUBTS)


def test_one_action_keeps_all_signed_and_one_takes_it_back(page: Page, store: Store) -> None:
    client = page.browser()
    before = store.round(FIRST)
    answered = client.post(f"/glance/{FIRST}", data=sent(store))
    assert re.search(rf"Kept: 5 values of [^<]*, card {FIRST}", answered.text)
    assert {(a.by, a.how) for a in store.answers(FIRST)} == {("Wren", "glance")}
    assert set(store.card(FIRST).waiting) == {"h05.drive", "h10.putt1.distance", "h12.why"}
    at = re.search(r'name="at" value="([^"]+)"', answered.text)
    assert at is not None
    client.post(f"/glance/{FIRST}/undo", data={"at": at[1]})
    assert store.round(FIRST) == before


def test_a_mended_pair_is_an_answer_and_none_of_these_is_asked_alone(page: Page, store: Store) -> None:
    client = page.browser()
    answered = client.post(f"/glance/{FIRST}", data=sent(store, **{"h02.score": "9", "h07.why": ELSE}))
    assert answered.url.path == f"/ask/{FIRST}/h07.why"
    ways = {a.field: (a.value, a.how) for a in store.answers(FIRST)}
    assert ways["h02.score"] == (9, "")
    assert "h07.why" not in ways
    assert ways["h09.drive"][1] == "glance"


def test_all_may_be_left_as_doubt_and_are_not_asked_again(page: Page, store: Store) -> None:
    answered = page.browser().post(f"/glance/{FIRST}", data={**sent(store), "do": "leave"})
    assert "Left as doubt: 5 values" in answered.text
    assert glance_of(store, FIRST) == ()
    round_ = store.round(FIRST)
    assert round_ is not None
    assert round_.holes[1].score.status == "doubtful"


def test_what_must_be_looked_at_is_not_kept_whatever_a_page_sends(page: Page, store: Store) -> None:
    data = sent(store)
    data |= {
        "field": [*data["field"], "h05.drive"],
        "seen": [*data["seen"], "0"],
        "value-h05.drive": '"miss"',
    }  # type: ignore[misc]
    answered = page.browser().post(f"/glance/{FIRST}", data=data)
    assert answered.status_code == 422
    assert "asked alone" in answered.text or "ask alone" in answered.text
    assert store.answers(FIRST) == ()


@pytest.mark.parametrize("value", ["{", '"nonsense"', "1e9", "[[]]", '{"a": 1}'])
def test_a_value_that_the_field_cannot_hold_is_refused_and_nothing_is_kept(
    page: Page, store: Store, value: str
) -> None:
    answered = page.browser().post(f"/glance/{FIRST}", data=sent(store, **{"h02.score": value}))
    assert answered.status_code == 422
    assert store.answers(FIRST) == ()


def test_an_answer_given_meanwhile_stops_the_action_and_is_told(page: Page, store: Store) -> None:
    data = sent(store)
    store.answer(FIRST, "h02.score", 4, "Robin", page.desk.now())
    answered = page.browser().post(f"/glance/{FIRST}", data=data)
    assert answered.status_code == 409
    assert "Somebody answered while you looked" in answered.text
    assert [a.by for a in store.answers(FIRST)] == ["Robin"]


def test_a_stack_goes_card_after_card(page: Page, store: Store) -> None:
    client = page.browser()
    first = client.get("/glance")
    assert first.url.path == f"/glance/{FIRST}"
    assert "1 of 2 cards" in first.text
    second = client.post(f"/glance/{FIRST}", data={**sent(store), "stack": "1"})
    assert second.url.path == f"/glance/{SECOND}"
    assert re.search(rf"Kept: 5 values of [^<]*, card {FIRST}", second.text)


def test_questions_come_first_and_the_glance_after_them(page: Page, store: Store) -> None:
    client = page.browser()
    assert client.get(f"/ask?card={FIRST}").url.path.startswith(f"/ask/{FIRST}/")
    for name, value in (("h05.drive", "miss"), ("h10.putt1.distance", "17"), ("h12.why", "5")):
        last = client.post(f"/ask/{FIRST}/{name}", data={"value": value, "seen": "0", "then": "only"})
    assert last.url.path == f"/glance/{FIRST}"


def test_how_much_a_player_is_asked_is_chosen_on_the_page(page: Page, store: Store) -> None:
    client = page.browser()
    player = store.card(FIRST).player or ""
    client.post("/how-to-ask", data={"player": player, "how": "little"})
    assert glance_of(store, FIRST) == ()
    client.post("/how-to-ask", data={"player": player, "how": EVERYTHING})
    assert set(glance_of(store, FIRST)) >= set(DOUBTS)
    assert client.post("/how-to-ask", data={"player": player, "how": "x"}).status_code == 422


def test_a_candidate_travels_as_json(store: Store) -> None:
    assert [json.loads(c.value) for p in pairs(store) if p.field == "h02.score" for c in p.candidates][1] == 9


def test_how_much_a_player_is_asked_is_also_an_option_of_the_command(
    capsys: pytest.CaptureFixture[str],
) -> None:
    from shortpencil.scan.cli.main import main

    assert main(["review", "--player", "Wren", "--no-browser"]) == 2
    assert "expected --ask with it" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["review", "--ask", "loudly"])


def test_a_doubtful_value_is_shown_as_one_on_the_page_of_its_round(page: Page, store: Store) -> None:
    client = page.browser()
    text = client.get(f"/rounds/{FIRST}").text
    score = store.card(FIRST).fields["h02.score"].value
    assert f"≈ {score}" in text
    assert "≈ clean" in text or "≈ miss" in text
    client.post(f"/glance/{FIRST}", data=sent(store))
    assert f"≈ {score}" not in client.get(f"/rounds/{FIRST}").text
