"""After the photo, and the order of the questions: what the page tells, in process."""

from __future__ import annotations

from shortpencil.scan.cli.after import after_of_store, worth_of_store
from shortpencil.scan.records.store import Store
from shortpencil.scan.review.after_view import AfterPhoto, PhaseLine, Value
from tests.review.conftest import SAMPLES, THREE, Page

AFTER = AfterPhoto(
    phases=(PhaseLine("drives", 4, 0), PhaseLine("approaches", 3, 1), PhaseLine("putts", 6, 0)),
    thing=None,
    thing_picture="resolve",
    player="Zoë & Ash",
    focus="Your focus: putts",
    says=("Provisional after 1 round.",),
)


def test_after_the_photo_come_misses_the_one_thing_and_the_focus_before_the_questions(
    page: Page, store: Store
) -> None:
    page.desk.after = lambda serial: AFTER
    photo = (SAMPLES / THREE).read_bytes()
    text = page.browser().post("/capture", files={"photos": ("x.jpg", photo, "image/jpeg")}).text
    places = [
        text.index(words) for words in ("missed drives", "The one thing you wrote down", "Your focus: putts")
    ]
    assert places == sorted(places)
    assert places[-1] < text.index("data-answers")
    assert "and 1 doubtful" in text
    assert 'href="/focus?player=Zo%C3%AB%20%26%20Ash"' in text  # of several players not the first one's


def test_questions_come_in_the_order_of_what_an_answer_is_worth(page: Page, serial: str) -> None:
    worth = {
        "h05.drive": Value(0.1, "the answer changes next to nothing"),
        "h10.putt1.distance": Value(0.2, "the answer changes your putting curve by 1 in 100"),
        "h12.why": Value(3.0, "the answer changes your score by 3.0 on average"),
    }
    page.desk.worth = lambda _: worth
    first = page.browser().get(f"/ask?card={serial}")
    assert first.url.path == f"/ask/{serial}/h12.why"
    assert "The answer changes your score by 3.0 on average." in first.text


def test_what_must_be_looked_at_comes_first(page: Page, serial: str) -> None:
    page.desk.worth = lambda _: {
        "h05.drive": Value(9.0, "the answer changes much"),
        "h12.why": Value(1.0, "less"),
    }
    assert page.browser().get(f"/ask?card={serial}").url.path == f"/ask/{serial}/h10.putt1.distance"


def test_who_cannot_tell_either_leaves_the_field_and_can_take_that_back(
    page: Page, store: Store, serial: str
) -> None:
    client = page.browser()
    following = client.post(f"/leave/{serial}/h12.why", data={"seen": "0", "then": "only"})
    assert "left it as doubt" in following.text
    assert "h12.why" not in store.card(serial).waiting
    client.post(f"/undo/{serial}/h12.why", data={"seen": "1", "then": "only"})
    assert "h12.why" in store.card(serial).waiting


def test_what_is_told_is_worked_out_from_the_round_and_the_store(store: Store, serial: str) -> None:
    told = after_of_store(store)(serial)
    assert told is not None
    round_ = store.round(serial)
    assert round_ is not None
    drives = [t for hole in round_.holes for t in hole.throws if t.phase == "drive"]
    assert told.phases[0].misses == sum(t.execution.known == "miss" for t in drives)
    assert told.phases[0].doubtful == sum(t.execution.status != "known" for t in drives) == 1
    assert told.focus.startswith(("Your focus: ", "Not in anybody's focus yet"))
    assert after_of_store(store)("none") is None
    assert worth_of_store(store)(serial) == {}, "what must be looked at has no posterior to weigh"
