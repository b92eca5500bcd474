"""Which field is asked next, which key answers it, and what each answer would mean."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shortpencil.forms.errors import InputError
from shortpencil.forms.field_map import layout_from_json
from shortpencil.scan.reading import SCRIBBLED, FieldReading
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.store import Store
from shortpencil.scan.review.pages import card_table
from shortpencil.scan.review.questions import RESERVED, next_after, parsed, percent, question_of
from tests.review.conftest import NOON

WAITING = (("A", ("h01.drive", "h02.drive")), ("B", ("total",)))


def with_field(card: Card, name: str, found: FieldReading) -> Card:
    return replace(card, reading=replace(card.reading, fields={**card.reading.fields, name: found}))


@pytest.mark.parametrize(
    ("at", "back", "then"),
    [
        (("", ""), False, ("A", "h01.drive")),
        (("A", "h01.drive"), False, ("A", "h02.drive")),
        (("A", "h02.drive"), False, ("B", "total")),
        (("B", "total"), False, ("A", "h01.drive")),
        (("A", "h01.drive"), True, ("B", "total")),
        (("B", "h09.why"), False, ("B", "total")),  # it was just answered: the card's next one
        (("C", "total"), False, ("A", "h01.drive")),
    ],
)
def test_the_next_question_goes_round(at: tuple[str, str], back: bool, then: tuple[str, str]) -> None:
    assert next_after(WAITING, *at, back=back) == then


def test_nothing_follows_the_last_question() -> None:
    assert next_after((("B", ("total",)),), "B", "total") is None
    assert next_after(()) is None


def some_of(names: str) -> st.SearchStrategy[tuple[str, ...]]:
    """Make some of these in any order; none is made in vain, as where nothing may stand in a list twice."""
    return st.tuples(st.permutations(names), st.integers(0, len(names))).map(
        lambda made: (*made[0][: made[1]],)
    )


@given(
    st.tuples(some_of("ABC"), st.lists(some_of("abcd"), min_size=3, max_size=3)).map(
        lambda made: list(zip(*made, strict=False))
    )
)
def test_going_on_visits_every_question_once(waiting: list[tuple[str, tuple[str, ...]]]) -> None:
    places = [(card, name) for card, names in waiting for name in names]
    at, visited = ("", ""), []
    for _ in places:
        following = next_after(waiting, *at)
        if following is None:
            break
        visited.append(following)
        at = following
    assert len(places) == 1 or visited == places


def test_every_question_of_a_card_has_keys_of_its_own(store: Store, serial: str) -> None:
    card = store.card(serial)
    for field in card.form.fields:
        if field.row not in (None, 1, 5):  # the rows ask the same; of row 5 two cells are doctored
            continue
        question = question_of(card, field.id)
        keys = [choice.key for choice in question.choices if choice.key]
        assert len(keys) == len(set(keys)), field.id
        if question.kind in ("one", "many"):
            assert len(keys) == len(question.choices), field.id
        only_yes = [option.id for option in field.options] == ["yes"]
        for choice in question.choices:
            reserved = choice.key in RESERVED and choice.value != "" and not only_yes
            assert not reserved, (field.id, choice)


def test_a_doctored_drive_is_asked_with_both_bubbles_and_what_each_would_mean(
    store: Store, serial: str
) -> None:
    question = question_of(store.card(serial), "h05.drive")
    assert (question.place, question.name, question.kind) == ("Hole 5", "drive", "one")
    assert question.why == "clean and miss are both filled"
    by_value = {choice.value: choice for choice in question.choices}
    assert {value: choice.key for value, choice in by_value.items()} == {"clean": "c", "miss": "m", "": "b"}
    assert by_value["miss"].conflicts == ()
    assert any("missed drives" in says for says in by_value["clean"].conflicts)


def test_a_cell_that_cannot_be_read_is_not_said_to_be_empty(store: Store, serial: str) -> None:
    card = store.card(serial)
    both = FieldReading(None, 0.98, "both are filled", alternatives=(("clean", 0.99), ("miss", 0.01)))
    question = question_of(with_field(card, "h05.drive", both), "h05.drive")
    assert {choice.value: choice.p for choice in question.choices} == {"clean": 0.99, "miss": 0.01, "": None}
    assert "nothing filled" not in question.reader
    spoilt = FieldReading(None, 0.1, "written over", alternatives=((0, 0.1), (1, 0.1)), kind=SCRIBBLED)
    assert question_of(with_field(card, "h12.why", spoilt), "h12.why").reader.startswith("Only the ink")

    blank = FieldReading(None, 0.7, "unclear", alternatives=(("clean", 0.3),))
    question = question_of(with_field(card, "h05.drive", blank), "h05.drive")
    assert {choice.value: choice.p for choice in question.choices} == {"clean": 0.3, "miss": None, "": 0.7}


def test_guesses_of_which_none_stands_out_are_no_thought_of_the_reader(store: Store, serial: str) -> None:
    card = store.card(serial)
    for p, tells in ((0.1, False), (0.3, True)):  # ten digits alike, and one of three
        guesses = tuple((digit, p) for digit in range(round(1 / p)))
        unseen = FieldReading(None, p, "cannot be seen in the picture", alternatives=guesses)
        reader = question_of(with_field(card, "h09.why", unseen), "h09.why").reader
        assert ("The reader thinks" in reader) == tells, reader
        assert ("cannot tell" in reader) != tells


def test_what_is_doubtful_stands_nowhere_before_it_is_answered(store: Store, serial: str) -> None:
    # left as doubt it is asked no more, and yet no button says that this is what stands there
    card = store.card(serial)
    doubted = FieldReading("clean", 0.6, "unclear", alternatives=(("miss", 0.4),))
    left = replace(with_field(card, "h06.drive", doubted), waiting=())
    assert not any(choice.standing for choice in question_of(left, "h06.drive").choices)
    sure = with_field(card, "h06.drive", FieldReading("clean", 0.999))
    assert [c.value for c in question_of(sure, "h06.drive").choices if c.standing] == ["clean"]


def test_an_answer_that_is_tried_is_not_said_to_lie_after_its_photo(store: Store, serial: str) -> None:
    # it is tried on no day at all, so that every day would lie after it
    question = question_of(store.card(serial), "date.year")
    tried = [says for choice in question.choices for says in choice.conflicts]
    assert not any("after the day" in says for says in tried)
    assert any(choice.value not in ("", "0") for choice in question.choices)


def test_a_cell_that_must_be_looked_at_shows_no_probability(store: Store, serial: str) -> None:
    for name in ("h05.drive", "h10.putt1.distance", "h12.why"):
        question = question_of(store.card(serial), name)
        assert {choice.p for choice in question.choices} == {None}
        assert "%" not in question.reader + (question.why or "")


def test_a_score_says_what_the_round_would_be(store: Store, serial: str) -> None:
    card = store.card(serial)
    score = card.fields["h01.score"].value
    assert isinstance(score, int)
    doubted = FieldReading(score, 0.6, "unclear", alternatives=((score + 1, 0.4),))
    question = question_of(with_field(card, "h01.score", doubted), "h01.score")
    whole = sum(int(card.fields[f"h{hole:02d}.score"].value or 0) for hole in range(1, 19))  # type: ignore[arg-type]
    by_value = {choice.value: choice for choice in question.choices}
    assert by_value[str(score)].means == f"score of the round {whole}"
    assert by_value[str(score + 1)].means == f"score of the round {whole + 1}"
    assert by_value[""].means == f"score of the round {whole - score} so far"
    assert any("add up to" in says for says in by_value[str(score + 1)].conflicts)


def test_causes_are_asked_by_their_numbers_on_this_card(store: Store, serial: str) -> None:
    card = store.card(serial)
    question = question_of(card, "h12.why")
    labels = {choice.key: choice.label for choice in question.choices}
    for cause in card.form.causes:
        assert labels[str(cause.number)] == f"{cause.number}, {cause.label}"


def test_the_history_tells_who_and_over_what(store: Store, serial: str) -> None:
    store.answer(serial, "h05.drive", "miss", "Wren", NOON)
    store.answer(serial, "h05.drive", "clean", "Robin", NOON)
    store.take_back(serial, "h05.drive", "Robin", NOON)
    question = question_of(store.card(serial), "h05.drive")
    assert [(entry.by, entry.says) for entry in question.history] == [
        ("Wren", "miss, over nothing filled"),
        ("Robin", "clean, over miss"),
        ("Robin", "took back clean"),
    ]
    assert question.seen == 3
    assert question.provenance.startswith("entered by Wren")
    assert question.undoable


@pytest.mark.parametrize(
    ("field", "texts", "value"),
    [
        ("h05.drive", ["clean"], "clean"),
        ("h05.drive", [""], None),
        ("h05.drive", [], None),
        ("h07.way", ["long", "left"], ("left", "long")),
        ("h07.way", [], None),
        ("h07.score", [" 12 "], 12),
        ("h07.words", ["late again "], "late again"),
        ("h07.words", ["cafe\u0301"], "caf\u00e9"),
    ],
)
def test_what_a_form_sends_becomes_a_value(
    store: Store, serial: str, field: str, texts: list[str], value: object
) -> None:
    assert parsed(store.card(serial).form, field, texts) == value


@pytest.mark.parametrize(
    ("field", "texts"),
    [
        ("h05.drive", ["perhaps"]),
        ("h05.drive", ["clean", "miss"]),
        ("h07.way", ["up"]),
        ("h07.score", ["-1"]),
        ("h07.score", ["100"]),
        ("h07.score", ["٣"]),
        ("h07.score", ["9" * 5000]),
        ("h07.words", ["x" * 501]),
        ("h07.words", ["\x00"]),
        ("h99.drive", ["clean"]),
    ],
)
def test_what_a_field_cannot_hold_is_refused_with_a_reason(
    store: Store, serial: str, field: str, texts: list[str]
) -> None:
    with pytest.raises(InputError, match="expected"):
        parsed(store.card(serial).form, field, texts)


def test_a_probability_never_says_more_than_it_knows() -> None:
    shown = [percent(p).replace("\u00a0", " ") for p in (1.0, 0.9999, 0.994, 0.5, 0.012, 0.009, 0.0)]
    assert shown == ["100 %", "over 99 %", "99 %", "50 %", "1 %", "under 1 %", "under 1 %"]


def test_nobody_is_asked_to_type_a_name_that_was_printed(store: Store, serial: str) -> None:
    nameless = store.card(serial)
    printed = replace(nameless, player="Wren")
    layout = layout_from_json(store.form_text(nameless.reading.form or "") or "")

    written: list[bool] = []

    def shown(card: Card) -> tuple[object, str, str, dict[str, str]]:
        asked = question_of(card, "player")
        table = card_table(card, layout)
        spots = {spot.field: spot.text for spot in table["spots"]}
        for spot in table["others"]:
            if spot.field == "player" and spot.text == "Wren":  # among what is known, not among own words
                assert spot.state_said == "printed on the card"
        written.append("player" in [spot.field for spot, _ in table["words"]])
        return asked.value, asked.reader, asked.provenance, spots

    before = shown(nameless)
    assert (before[0], before[2], before[3]["player"]) == ("", "kept as a picture", "")
    value, reader, provenance, spots = shown(printed)
    assert (value, provenance, spots["player"]) == ("Wren", "printed on the card", "Wren")
    assert "nobody needs to type it" in reader
    assert {**spots, "player": ""} == before[3]

    store.answer(serial, "player", "Jay", "Robin", NOON)
    value, reader, provenance, spots = shown(replace(store.card(serial), player="Wren"))
    assert (value, spots["player"]) == ("Jay", "Jay")
    assert provenance.startswith("entered by Robin")
    assert "nobody needs" not in reader
    assert written == [True, False, True]
