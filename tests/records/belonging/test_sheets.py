"""One sheet, several rounds: what shows one round and what another, in whatever order photos come."""

import itertools
import json
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import event, select

from shortpencil.forms.catalog import builtin_layout
from shortpencil.forms.errors import RecordError
from shortpencil.forms.field_map import layout_to_json
from shortpencil.scan.reading import PHOTOS_DISAGREE, FieldReading
from shortpencil.scan.records.belonging.sheets import serials_of
from shortpencil.scan.records.composing.compose import round_from_reading
from shortpencil.scan.records.concluding import outcomes
from shortpencil.scan.records.concluding.sameness import compare, fields_of_round
from shortpencil.scan.records.concluding.versions import Shown, speaking
from shortpencil.scan.records.exchanging.export import rounds_text
from shortpencil.scan.records.exchanging.importing import read_rounds
from shortpencil.scan.records.recording.kept import compared_fields, reading_from_text, reading_text
from shortpencil.scan.records.recording.record_json import round_from_json
from shortpencil.scan.records.store import open_store
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import reading as reading_from
from shortpencil.scan.records.storing.database import writing
from shortpencil.scan.records.storing.statements import of_sheet, the_sheet
from tests.records.cards import PHOTO, PLAYED, RECORDED_AT, reading, round_form
from tests.records.conftest import POSTGRES, fresh_place, read_form
from tests.simulator.rounds import round_answers, some_player

LATER = datetime(2026, 6, 2, 7, 0, tzinfo=UTC)
SHEET = "ABCD2345"
FORM = round_form()
FORM_FIELDS = [field.id for field in FORM.fields if field.type != "words"]

#: Three rounds on three photocopies of one sheet; what the second and the third change of the first.
SECOND = PLAYED | {
    "date.day": 7, "date.month": 6, "h01.score": 4, "h01.putt1.distance": 9, "h01.putt2": "miss",
    "h02.score": 3, "h02.drive": "clean", "h02.penalty": None, "h03.score": 3, "h03.drive": "miss",
    "tally.drive": 1, "tally.putt": 2, "total": 10,
}  # fmt: skip
THIRD = PLAYED | {
    "date.day": 14, "date.month": 6, "h01.score": 2, "h01.drive": "clean", "h01.putt1": "clean",
    "h01.putt1.distance": 3, "h01.putt2": None, "h02.score": 6, "h02.approach1": "miss", "h03.score": 4,
    "tally.drive": 1, "tally.approach": 1, "tally.putt": 0, "total": 12,
}  # fmt: skip
ROUNDS = {"first": PLAYED, "second": SECOND, "third": THIRD}
PHOTOS = {"first": "1" * 64, "second": "2" * 64, "third": "3" * 64}


def add(store, marks=None, *, at=RECORDED_AT, form=FORM, form_text="3 m", player=None, more=None, **card):
    read = reading(form, PLAYED if marks is None else marks, **card)
    round_ = round_from_reading(form, read, recorded_at=at, player=player)
    return store.add_reading(read, form, round_, form_text=form_text, **(more or {}))


def everything(store, *but):
    with reading_from(store._engine) as connection:
        return {
            table.name: connection.execute(select(table).order_by(*table.primary_key)).all()
            for table in tables.metadata.sorted_tables
            if table.name not in but
        }


def true_round(name, serial):
    """The round as it would be with a sheet of its own."""
    card = reading(FORM, ROUNDS[name], photo=PHOTOS[name])
    return replace(round_from_reading(FORM, card, recorded_at=RECORDED_AT), id=serial)


# -- which photos show one round -----------------------------------------------------------------------------


def fields(form, answers):
    return {field.id: FieldReading(answers.get(field.id), 0.999) for field in form.fields}


@pytest.mark.parametrize("name", ["round9", "round18", "round27"])
def test_invented_rounds_of_one_player_on_one_course_are_told_apart(name):
    layout = builtin_layout(name, "a4", "m", "right")
    field_map, pars = json.loads(layout_to_json(layout)), {f"h{hole:02d}": 3 for hole in range(1, 28)}
    rng = np.random.default_rng(47)
    for seed in range(12):
        player = some_player(rng)
        one, other = (
            fields(layout.form, round_answers(field_map, player, 100 * seed + n, pars=pars)) for n in (1, 2)
        )
        assert not compare(layout.form, one, other).same_round  # though both have the same date
        half = {
            k: v for k, v in one.items() if not k.startswith(("h05", "h06", "h07", "h08", "h09", "total"))
        }
        blank = {name: FieldReading(None, 0.999) for name in one.keys() - half.keys()}
        assert compare(layout.form, half | blank, one).same_round
        mended = dict(one)
        for name_ in ("h01.score", "h02.drive", "h03.putt1"):
            mended[name_] = FieldReading(7 if name_.endswith("score") else "miss", 0.999)
        assert compare(layout.form, one, mended).same_round


def test_doubtful_fields_and_words_tell_nothing_apart():
    doubtful = {name: answer._replace(flag="faint") for name, answer in fields(FORM, SECOND).items()}
    assert compare(FORM, fields(FORM, PLAYED), doubtful).against == 0
    assert compare(
        FORM, fields(FORM, PLAYED), fields(FORM, PLAYED) | {"player": FieldReading("Wren", 1.0)}
    ).same_marks


def test_a_stored_round_says_the_same_as_its_card():
    for marks in ROUNDS.values():
        card = reading(FORM, marks)
        said = fields_of_round(FORM, round_from_reading(FORM, card, recorded_at=RECORDED_AT))
        known = {name: answer.value for name, answer in said.items()}
        assert known == {name: card.fields[name].value for name in known}
        assert len(known) > 20


def test_what_is_made_of_a_stored_text_compares_as_the_whole_reading_does():
    card = reading(FORM, SECOND, flags={"h01.drive": "faint"})
    whole, brief = reading_from_text(reading_text(card)).fields, compared_fields(reading_text(card))
    assert {name: (one.value, one.flag) for name, one in whole.items()} == {
        name: (one.value, one.flag) for name, one in brief.items()
    }
    said, wanted = (compare(FORM, one, fields(FORM, PLAYED)) for one in (brief, whole))
    assert (said, said.values) == (wanted, wanted.values)


def test_a_photocopy_more_is_not_a_question_more_to_the_database(store):
    """Each copy's photo is held against all rounds of the sheet; they are asked for together."""
    asked = []
    event.listen(store._engine, "before_cursor_execute", lambda *args: asked.append(args[2]))
    counts = []
    for number in range(9):
        # Distances and scores that no two of these rounds share, so that each is another one.
        other = {
            name: (value + number) % 9 + 1 if isinstance(value, int) and ".score" in name else value
            for name, value in PLAYED.items()
        } | {"date.day": number + 1, "h01.putt1.distance": number + 1, "total": 20 + number}
        asked.clear()
        assert add(store, other, photo=f"{number + 1:064x}").outcome in (outcomes.NEW, outcomes.ANOTHER)
        counts.append(len(asked))
    assert counts[2] == counts[-1]


# -- several rounds of one sheet -----------------------------------------------------------------------------


@pytest.mark.parametrize("order", list(itertools.permutations(ROUNDS)), ids="-".join)
def test_three_rounds_on_copies_of_one_sheet_are_three_rounds_in_every_order(place, order):
    with open_store(place, read_form=read_form) as store:
        kept = [add(store, ROUNDS[name], photo=PHOTOS[name]) for name in order]
        assert [one.outcome for one in kept] == [outcomes.NEW, outcomes.ANOTHER, outcomes.ANOTHER]
        assert [one.serial for one in kept] == [SHEET, f"{SHEET}-2", f"{SHEET}-3"]
        assert kept[2].beside == (SHEET, f"{SHEET}-2")
        for one, name in zip(kept, order, strict=True):
            assert store.round(one.serial) == true_round(name, one.serial)
        before = everything(store)
        assert {add(store, ROUNDS[n], photo=PHOTOS[n], at=LATER).outcome for n in order} == {
            outcomes.SAME_PHOTO
        }
        assert everything(store) == before
        assert [one.serial for one in store.sheet(f"{SHEET}-2")] == [one.serial for one in kept]


@pytest.mark.parametrize("order", list(itertools.permutations(ROUNDS)), ids="-".join)
def test_answers_between_them_stay_with_their_round(place, order):
    flags = {"total": "faint"}
    with open_store(place, read_form=read_form) as store:
        serials = {}
        for name in order:
            kept = add(store, ROUNDS[name], photo=PHOTOS[name], flags=flags)
            serials[name] = kept.serial
            assert kept.round.waiting == ("total",)
            # Wrong on purpose for two of them: an answer to one must not count in another.
            store.answer(kept.serial, "total", 20 + len(serials), "Robin", LATER)
        for number, name in enumerate(order, start=1):
            round_ = store.round(serials[name])
            assert (round_.total.value, round_.total.by, round_.waiting) == (20 + number, "Robin", ())
            assert replace(round_, total=true_round(name, "x").total, id="x") == true_round(name, "x")
            assert len(store.answers(serials[name])) == 1
        for name in order:  # photos of the same rounds, taken later
            kept = add(
                store,
                ROUNDS[name],
                photo=PHOTOS[name][::-1].replace(PHOTOS[name][0], "abc"[order.index(name)]),
            )
            assert (kept.serial, kept.round.total.by) == (serials[name], "Robin")
        assert len(store.rounds()) == 3


def test_the_same_sheet_with_another_form_is_a_round_of_its_own(place):
    feet = round_form(3, unit="ft")
    with open_store(place, read_form=read_form) as store:
        add(store)
        card = replace(reading(feet, PLAYED, photo="b" * 64), form="FEET22")
        round_ = round_from_reading(feet, card, recorded_at=RECORDED_AT)
        kept = store.add_reading(card, feet, round_, form_text="3 ft")
        assert (kept.outcome, kept.serial) == (outcomes.ANOTHER, f"{SHEET}-2")
        metres, feet_too = store.round(SHEET), store.round(f"{SHEET}-2")
        assert (metres.unit, metres.holes[0].throws[1].distance_m) == ("m", 7.0)
        assert (feet_too.unit, feet_too.holes[0].throws[1].distance_m) == ("ft", 2.134)


def test_two_copies_of_a_sheet_on_one_photo_are_two_rounds(place):
    with open_store(place, read_form=read_form) as store:
        for _ in range(2):
            kept = [add(store, marks, more={"copies": 2}) for marks in (PLAYED, SECOND)]
        assert [one.outcome for one in kept] == [outcomes.SAME_PHOTO] * 2
        assert [one.serial for one in kept] == [SHEET, f"{SHEET}-2"]
        assert len(store.rounds()) == 2


def test_a_photo_that_is_read_otherwise_by_now_is_still_the_same_photo(store):
    add(store)
    assert add(store, SECOND).outcome == outcomes.SAME_PHOTO
    assert len(store.rounds()) == 1


@pytest.mark.parametrize("first", [0, 1])
def test_a_card_photographed_before_it_was_whole_is_one_round(place, first):
    half = {name: value for name, value in PLAYED.items() if name.startswith(("date", "h01"))}
    photos = [(half, "a" * 64), (PLAYED, "b" * 64)]
    with open_store(place, read_form=read_form) as store:
        add(store, photos[first][0], photo=photos[first][1])
        kept = add(store, photos[1 - first][0], photo=photos[1 - first][1])
        assert kept.outcome == (outcomes.KEPT if first else outcomes.MORE)
        differs = kept.comparison.missing if first else kept.comparison.added
        assert set(differs) == PLAYED.keys() - half.keys()
        assert kept.comparison.values["total"] == ((9, None) if first else (None, 9))
        (round_,) = store.rounds()
        whole = round_from_reading(FORM, reading(FORM, PLAYED), recorded_at=RECORDED_AT)
        assert replace(round_, sources=()) == replace(whole, sources=())
        assert round_.sources == ("a" * 64, "b" * 64)


def test_a_mark_changed_since_is_asked_whichever_photo_comes_first(place):
    half = {k: v for k, v in PLAYED.items() if k.startswith(("date", "h01", "h02"))} | {"h01.drive": "clean"}
    with open_store(place, read_form=read_form) as store:
        add(store, half, photo="a" * 64)
        kept = add(store, PLAYED, photo="b" * 64)
        assert (kept.outcome, kept.comparison.changed) == (outcomes.MORE, ("h01.drive",))
        assert kept.reading.fields["h01.drive"].flag == PHOTOS_DISAGREE
        assert kept.round.waiting == ("h01.drive",)
        answered = store.answer(SHEET, "h01.drive", "miss", "Robin", LATER)
        assert answered.waiting == ()


def test_the_reading_that_speaks_is_the_same_in_every_order():
    half = {name: value for name, value in PLAYED.items() if name.startswith(("date", "h01"))}
    shown = [
        Shown(reading(FORM, half, photo="a" * 64)),
        Shown(reading(FORM, PLAYED, photo="b" * 64, flags={"total": "faint"})),
        Shown(reading(FORM, PLAYED | {"h03.score": 5}, photo="c" * 64, flags={"total": "faint"})),
    ]
    ends = [speaking(FORM, order) for order in itertools.permutations(shown)]
    assert all(end == ends[0] for end in ends)
    assert ends[0].flagged == ("h03.score", "total")


def test_a_bad_photo_full_of_doubts_does_not_take_the_place_of_a_good_one():
    doubts = {name: "faint" for name in FORM_FIELDS if name not in ("total", "h01.score", "date.day")}
    good = Shown(reading(FORM, PLAYED, photo="a" * 64))
    bad = Shown(reading(FORM, PLAYED | {"total": None}, photo="b" * 64, flags=doubts))
    for order in ([good, bad], [bad, good]):
        assert speaking(FORM, order) == good.reading


def test_a_later_photo_with_doubts_still_shows_what_was_marked_since():
    half = {name: value for name, value in PLAYED.items() if name.startswith(("date", "h01"))}
    doubts = dict.fromkeys(half, "faint")
    early, late = (
        Shown(reading(FORM, half, photo="a" * 64)),
        Shown(reading(FORM, PLAYED, photo="b" * 64, flags=doubts)),
    )
    for order in ([early, late], [late, early]):
        assert speaking(FORM, order) == late.reading


def test_a_mark_that_only_the_older_photo_shows_is_asked():
    half = {k: v for k, v in PLAYED.items() if k.startswith(("date", "h01", "h02"))} | {"h03.penalty": "1"}
    shown = [Shown(reading(FORM, half, photo="a" * 64)), Shown(reading(FORM, PLAYED, photo="b" * 64))]
    spoken = speaking(FORM, shown)
    assert spoken == speaking(FORM, shown[::-1])
    assert (spoken.photo_sha256, spoken.flagged) == ("b" * 64, ("h03.penalty",))


def test_a_photo_of_which_a_card_was_missing_counts_as_read_once_its_last_card_came(store):
    """Ended between two cards of a photo, `read` takes the photo up again; both were stored before."""
    cards = [reading(FORM, PLAYED, photo="a" * 64, serial=serial) for serial in ("FIRST234", "LAST5678")]

    def put(card, more):
        round_ = round_from_reading(FORM, card, recorded_at=RECORDED_AT)
        store.add_reading(card, FORM, round_, form_text="3 m", more=more)
        return store.photo_status("a" * 64)

    assert [put(cards[0], True), put(cards[1], True)] == [None, None]
    assert [put(cards[0], True), put(cards[1], False)] == [None, "read"]


def test_photos_that_cannot_be_read_together_leave_the_one_with_fewest_questions():
    one = Shown(reading(FORM, PLAYED, photo="a" * 64, flags={"total": "faint"}))
    best = Shown(reading(FORM, PLAYED, photo="b" * 64))
    rejected = replace(one.reading, status="rejected", reason="they differ")
    for joined in (None, rejected):
        assert speaking(FORM, [one, best], lambda shown, joined=joined: joined) == best.reading


def test_photos_of_one_round_are_read_together_from_what_is_kept_of_them(store):
    asked = []

    def join(shown):
        asked.append(
            [(one.reading.photo_sha256[0], one.evidence, "total" in one.reading.pictures) for one in shown]
        )
        best = shown[0].reading
        fields_ = {name: answer._replace(flag=None) for name, answer in best.fields.items()}
        return replace(best, fields=fields_, together=tuple(one.reading.photo_sha256 for one in shown[1:]))

    more = {"join": join}
    add(
        store,
        photo="a" * 64,
        flags={"total": "faint"},
        pictures={"total": b"A"},
        more={"evidence": b"1", **more},
    )
    kept = add(
        store,
        photo="b" * 64,
        flags={"h01.score": "faint"},
        pictures={"h01.score": b"B"},
        more={"evidence": b"2", **more},
    )
    assert asked == [[("a", b"1", True), ("b", b"2", False)]]
    assert (kept.outcome, kept.reading.together, kept.round.waiting) == (outcomes.TOGETHER, ("b" * 64,), ())
    assert store.card(SHEET).reading.together == ("b" * 64,)
    add(store, photo="c" * 64, more={"evidence": b"3", **more})
    assert [photo for photo, *_ in asked[-1]] == ["a", "b", "c"]
    # An answer composes the round anew, and nobody reads anything together again for it.
    store.answer(SHEET, "total", 9, "Robin", LATER)
    assert len(asked) == 2


def test_a_round_from_a_file_stays_and_another_on_its_sheet_is_kept_beside_it(place):
    round_ = round_from_reading(FORM, reading(FORM, PLAYED), recorded_at=RECORDED_AT)
    with open_store(place, read_form=read_form) as store:
        store.add_rounds([round_])
        assert add(store, photo="b" * 64).outcome == outcomes.KEPT
        kept = add(store, SECOND, photo="c" * 64)
        assert (kept.outcome, kept.serial) == (outcomes.ANOTHER, f"{SHEET}-2")
        assert store.round(SHEET) == round_


def test_rounds_of_one_sheet_come_back_from_an_export_to_the_byte(tmp_path):
    with open_store(tmp_path / "one.sqlite", read_form=read_form) as store:
        for name, marks in ROUNDS.items():
            kept = add(
                store, marks, photo=PHOTOS[name], flags={"total": "faint"} if name == "third" else None
            )
        store.answer(kept.serial, "total", 12, "Robin", LATER)
        exported = rounds_text(store.rounds())
    (tmp_path / "rounds.json").write_text(exported)
    with open_store(tmp_path / "two.sqlite", read_form=read_form) as store:
        store.add_rounds(read_rounds(tmp_path / "rounds.json").rounds)
        assert rounds_text(store.rounds()) == exported
        for name, marks in ROUNDS.items():  # and the photos of those rounds are known by them
            assert add(store, marks, photo=PHOTOS[name]).outcome == outcomes.SAME_PHOTO
        assert rounds_text(store.rounds()) == exported


def test_serials_that_only_look_alike_are_other_sheets(place):
    with open_store(place, read_form=read_form) as store:
        add(store, serial="ABCD2345-x", photo="b" * 64)
        add(store, SECOND, serial="ABCD234", photo="c" * 64)
        assert add(store, THIRD, photo="d" * 64).outcome == outcomes.NEW
        assert [one.serial for one in store.sheet("ABCD2345-x")] == ["ABCD2345-x"]


def test_the_photos_of_a_sheet_say_where_they_came_from_and_which_speaks(place):
    with open_store(place, read_form=read_form) as store:
        add(store, flags={"total": "faint"})
        add(store, photo="b" * 64, at=LATER)
        add(store, SECOND, photo="c" * 64)
        one, two = store.sheet(SHEET)
        assert [(photo.sha256[0], photo.questions, photo.speaks) for photo in one.photos] == [
            ("a", 1, False),
            ("b", 0, True),
        ]
        assert [(photo.source, photo.recorded_at) for photo in two.photos] == [
            ("card.jpg", "2026-06-01T18:30:00Z")
        ]


# -- photos with several cards -------------------------------------------------------------------------------


def test_a_photo_counts_as_read_when_its_last_card_is_stored(store):
    add(store, more={"more": True})
    assert store.photo_status(PHOTO) is None
    add(store, serial="WXYZ2345", more={"more": False})
    assert store.photo_status(PHOTO) == "read"


def test_a_photo_cut_short_between_two_cards_is_completed_by_the_next_reading(store):
    add(store, more={"more": True})  # here the program was killed
    assert add(store, more={"more": True}).outcome == outcomes.SAME_PHOTO
    assert add(store, serial="WXYZ2345").outcome == outcomes.NEW
    assert store.photo_status(PHOTO) == "read"
    assert len(store.rounds()) == 2


# -- deleting and setting aside ------------------------------------------------------------------------------


def a_full_round(store):
    views = {f"h01.score.{box}": bytes([box]) * 8 for box in (1, 2)}
    read = replace(
        reading(FORM, PLAYED, flags={"total": "faint"}, pictures={"total": b"\x89PNG"}), views=views
    )
    round_ = round_from_reading(FORM, read, recorded_at=RECORDED_AT, player="Robin")
    store.add_reading(read, FORM, round_, form_text="3 m", evidence=b"evidence")
    store.answer(SHEET, "total", 9, "Robin", LATER)
    store.answer(SHEET, "total", 10, "Robin", LATER)


@pytest.mark.parametrize("kept", [False, True])
def test_a_round_taken_out_is_nowhere_and_comes_back_as_it_was(place, kept):
    with open_store(place, read_form=read_form) as store:
        a_full_round(store)
        add(store, serial="WXYZ2345", photo="b" * 64)
        before = everything(store)
        aside = store.set_aside(SHEET, LATER, kept=kept)
        assert aside.says == "31 May 2026, no course, Robin, 3 holes, score 9"
        assert [round_.id for round_ in store.rounds()] == ["WXYZ2345"]
        assert (store.waiting(), store.kept_hands()) == ((), ())
        assert store.aside() == (aside,)
        with pytest.raises(RecordError, match="found none"):
            store.card(SHEET)
        store.put_back(SHEET)
        assert everything(store) == before
        assert store.aside() == ()


def test_a_deleted_round_is_erased_at_the_next_start_and_its_photo_read_anew(tmp_path):
    path = tmp_path / "rounds.sqlite"
    with open_store(path, read_form=read_form) as store:
        add(store, player="Robin", pictures={"total": b"a picture of a total"})
        store.set_aside(SHEET, LATER, kept=False)
        assert store.photo_status(PHOTO) is None
    with open_store(path, read_form=read_form) as store:
        assert store.empty_aside() == 1
        assert store.empty_aside() == 0
        with pytest.raises(RecordError, match="found none"):
            store.put_back(SHEET)
        assert add(store, at=LATER).outcome == outcomes.NEW
    assert b"a picture of a total" not in path.read_bytes()


def test_a_round_set_aside_stays_so_when_another_photo_shows_it(place):
    with open_store(place, read_form=read_form) as store:
        add(store)
        store.set_aside(SHEET, LATER, kept=True)
        assert store.empty_aside() == 0
        assert store.photo_status(PHOTO) == "read"
        assert add(store, photo="b" * 64).outcome == outcomes.SET_ASIDE
        assert store.rounds() == ()
        # Another round on that sheet is another round, and its name is its own.
        assert add(store, SECOND, photo="c" * 64).serial == f"{SHEET}-2"
        store.put_back(SHEET)
        assert len(store.rounds()) == 2


def test_what_is_aside_is_forgotten_with_its_player_and_erased_with_the_hand(place):
    with open_store(place, read_form=read_form) as store:
        a_full_round(store)
        store.set_aside(SHEET, LATER, kept=True)
        assert store.traces_of("Robin").aside == 1
        assert store.erase_hand("Robin") == 2
        store.put_back(SHEET)
        assert store.kept_hands() == ()
        store.set_aside(SHEET, LATER, kept=True)
        store.forget("Robin")
        assert not any(rows for name, rows in everything(store, "forms", "store_version").items())


def test_an_import_does_not_bring_a_round_twice_that_is_aside(store):
    add(store)
    (round_,) = store.rounds()
    store.set_aside(SHEET, LATER, kept=True)
    with pytest.raises(RecordError, match="set aside: ABCD2345"):
        store.add_rounds([round_])


def test_a_round_that_is_not_there_cannot_be_deleted(store):
    with pytest.raises(RecordError, match="shortpencil rounds"):
        store.set_aside("NONE", LATER, kept=False)


def test_a_round_from_a_file_is_deleted_and_brought_back_too(place):
    round_ = round_from_reading(FORM, reading(FORM, PLAYED), recorded_at=RECORDED_AT)
    with open_store(place, read_form=read_form) as store:
        store.add_rounds([round_])
        before = everything(store)
        store.set_aside(SHEET, LATER, kept=False)
        store.put_back(SHEET)
        assert everything(store) == before


# -- stores of before ----------------------------------------------------------------------------------------


def test_a_store_of_version_2_is_brought_up_and_goes_on(tmp_path):
    path = tmp_path / "rounds.sqlite"
    old = sqlite3.connect(path)
    old.executescript(Path(__file__).parents[1].joinpath("store_version_2.sql").read_text("utf-8"))
    records = [row[0] for row in old.execute("SELECT record FROM rounds ORDER BY id")]
    old.close()
    form = round_form(1)
    with open_store(path, read_form=lambda text: form) as store:
        assert [round_.id for round_ in store.rounds()] == ["ABCD2345", "WXYZ2345"]
        assert store.rounds() == tuple(round_from_json(json.loads(text)) for text in records)
        assert store.card("ABCD2345").reading.photo_sha256 == "b" * 64
        assert store.photo_status("c" * 64) == "read"
        marks = {name: value for name, value in PLAYED.items() if not name.startswith(("h02", "h03"))}
        kept = add(store, marks, photo="d" * 64, form=form, form_text="1 m", player="Robin")
        assert kept.serial == SHEET
        assert (
            kept.reading.flagged == ()
        )  # a photo of before says 7 there, doubtfully, which counts for nothing
        assert store.round(SHEET).total.by == "Robin"


def test_the_rounds_of_a_sheet_are_found_by_an_index_and_no_others(tmp_path):
    names = ["AB", "AB-2", "AB-10", "ABC", "AB.2", "AB-x", "AB--2", "AA-2", "ab-2"]
    with open_store(tmp_path / "s.sqlite") as store:
        store.add_rounds([true_round(next(iter(ROUNDS)), name) for name in names])
        asked = []
        with reading_from(store._engine) as connection:
            event.listen(connection, "before_cursor_execute", lambda *a: asked.append((a[2], a[3])))
            assert serials_of(connection, "AB") == ("AB", "AB-2", "AB-10")
            for statement, values in list(asked):
                plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values).fetchall()
                assert not any("SCAN" in row[3] for row in plan), plan


@pytest.mark.skipif(POSTGRES is None, reason="asks a server")
def test_a_server_finds_the_rounds_of_a_sheet_by_an_index_also_in_a_store_that_had_none(tmp_path):
    with fresh_place("postgresql", tmp_path) as place:
        with open_store(place) as store, writing(store._engine) as connection:
            for index in tables.BY_BYTES.values():
                index.drop(connection)
        with open_store(place) as store, writing(store._engine) as connection:
            connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
            for column in tables.BY_BYTES:
                query = select(column).where(of_sheet(column, "postgresql")).params(the_sheet(SHEET))
                plain = query.compile(store._engine, compile_kwargs={"literal_binds": True})
                plan = "\n".join(connection.exec_driver_sql(f"EXPLAIN {plain}").scalars())
                assert f"ix_{column.table.name}_bytes" in plan
