"""What waits in a round that came from a file is asked on a page of its own, without a picture."""

from __future__ import annotations

import re

from shortpencil.scan.records.composing.tidy import settled
from shortpencil.scan.records.exchanging.export import write_export
from shortpencil.scan.records.exchanging.importing import read_rounds
from tests.records.exchanging.test_export import played


def imported(store, tmp_path):
    waits = settled(played(flags={"h03.score": "faint", "h01.drive": "faint"}, serial="F1LE2345"))
    write_export(tmp_path / "out", [waits])
    store.add_rounds(read_rounds(tmp_path / "out" / "rounds.json").rounds)
    return waits.id


def test_it_is_counted_led_to_asked_and_answered(page, store, tmp_path):
    round_id = imported(store, tmp_path)
    laptop = page.browser()
    home = laptop.get("/").text
    assert re.search(rf"/ask\?card={round_id}.*?2 questions", home, re.S)
    asked = laptop.get(f"/ask?card={round_id}")
    assert asked.url.path == f"/rounds/{round_id}/answer"
    assert "Hole 3, score" in asked.text
    assert "<option>clean</option><option>miss</option>" in asked.text
    place = "hole3.score"
    refused = laptop.post(f"/rounds/{round_id}/answer", data={"place": place, "value": "x<b>"})
    assert refused.status_code == 422
    assert "expected a number" in refused.text
    assert "x&lt;b" not in refused.text
    kept = laptop.post(f"/rounds/{round_id}/answer", data={"place": place, "value": "3"})
    assert kept.status_code == 200
    assert "1 question" in kept.text
    done = laptop.post(
        f"/rounds/{round_id}/answer", data={"place": "hole1.throw1.execution", "value": "miss"}
    )
    assert "Nothing to ask" in done.text
    round_ = store.round(round_id)
    assert (round_.holes[2].score.known, round_.holes[2].score.by) == (3, "Wren")
    assert round_.holes[0].throws[0].execution.known == "miss"
    again = laptop.post(f"/rounds/{round_id}/answer", data={"place": place, "value": "4"})
    assert again.status_code == 422


def test_when_every_card_is_whole_a_round_from_a_file_is_next(page, store, tmp_path):
    for serial, fields in store.waiting_fields():
        for field in fields:
            store.answer(serial, field, None, "Wren", page.desk.now())
    laptop = page.browser()
    assert "Nothing to ask" in laptop.get("/ask").text
    round_id = imported(store, tmp_path)
    assert laptop.get("/ask").url.path == f"/rounds/{round_id}/answer"


def test_a_stranger_sees_and_answers_nothing(page, store, tmp_path):
    round_id = imported(store, tmp_path)
    stranger = page.stranger()
    url = f"/rounds/{round_id}/answer"
    assert stranger.get(url).status_code == 401
    headers = {"origin": "http://127.0.0.1:8467"}
    assert stranger.post(url, data={"place": "hole3.score", "value": "3"}, headers=headers).status_code == 401
    assert store.round(round_id).waiting
    assert page.browser().get("/rounds/none/answer").status_code == 404
