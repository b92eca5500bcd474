"""Start, rounds, courses, calendar, notes, players: what stands on them, against the store itself."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from starlette.testclient import TestClient

from shortpencil.forms.rules import PHASES
from shortpencil.scan.records.composing.rounds import Value
from shortpencil.scan.records.exchanging.importing import Imported
from shortpencil.scan.records.recording.record_json import round_from_json
from shortpencil.scan.records.recording.typed import filled_out
from shortpencil.scan.records.store import Store
from shortpencil.scan.records.storing.told import ToldSession
from shortpencil.scan.review.courses import course_holes, course_lines, share_range
from shortpencil.scan.review.days import months_of
from shortpencil.scan.review.naming import count_said, day_said, names_of, ordinal
from shortpencil.scan.review.notes import MOST_FOUND, search
from shortpencil.scan.review.people import player_lines
from shortpencil.scan.review.played import round_view
from tests.practice import invented
from tests.practice.invented import Player, rounds_of
from tests.review.conftest import NOON, Page
from tests.year.season import typed_rounds


@pytest.fixture(scope="module")
def typed() -> Imported:
    return Imported(tuple(round_from_json(filled_out(given)) for given in typed_rounds()))


@pytest.fixture
def filled(store: Store, typed: Imported) -> Store:
    store.add_rounds(typed.rounds)
    store.tell_session(ToldSession(date(2026, 5, 20), "putt", 45, "Ash"), NOON)
    return store


@pytest.fixture
def browser(page: Page, filled: Store) -> TestClient:
    return page.browser()


def test_no_round_and_no_card_is_named_by_its_serial_alone(browser: TestClient, filled: Store) -> None:
    serials = [line.id for line in filled.summaries()]
    for path in ("/", "/rounds", "/calendar", "/notes?q=wind", "/courses", "/players"):
        words = re.sub(r"<[^>]+>", " ", browser.get(path).text)
        for serial in serials:
            assert serial not in words, (path, serial)


def test_every_round_of_a_list_has_a_date_a_course_and_a_name(browser: TestClient, filled: Store) -> None:
    rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", browser.get("/rounds").text)
    assert len(rows) == len(filled.summaries())
    for row in rows:
        words = re.sub(r"<[^>]+>", "|", row)
        assert re.search(r"\d{1,2} \w{3} 20\d\d|no date yet", words)
        assert re.search(r"Thistlewick Common, long|Quern Hollow, short|Ninefold Heath|no course", words)
        assert re.search(r"Wren|Ash|no name", words)


def test_two_rounds_of_one_day_are_told_apart(browser: TestClient, filled: Store) -> None:
    names = names_of(filled.summaries())
    same = [name for name in names.values() if name.nth]
    assert [name.nth for name in same] == ["first round of the day", "second round of the day"]
    assert same[0].day == same[1].day
    assert "second round of the day" in browser.get("/rounds").text


def test_the_start_shows_the_last_round_its_misses_and_the_one_thing(
    browser: TestClient, filled: Store, typed: Imported
) -> None:
    last = typed.rounds[-1]
    shown = browser.get("/").text
    assert day_said(last.day) in shown
    assert last.notes["resolve"] in shown
    line = next(line for line in filled.summaries() if line.id == last.id)
    for many, count in (
        ("drives", line.misses_of("drive")),
        ("approaches", line.misses_of("approach")),
        ("putts", line.misses_of("putt")),
    ):
        assert re.search(rf"<dt>missed {many}</dt><dd>{count}\b", shown)
    assert "4 questions" in shown or "3 questions" in shown  # what waits
    assert "No focus for Wren in 30 minutes." in browser.get("/start/focus?player=Wren").text


def test_the_start_leads_to_the_rounds_that_lack_a_name(browser: TestClient, filled: Store) -> None:
    lacking = [line for line in filled.summaries() if not (line.player and line.course and line.played_on)]
    shown = browser.get("/").text
    assert f"{len(lacking)} rounds lack a name, a course or a date" in shown
    assert browser.get("/who").status_code == 200


def test_the_start_asks_whose_session_where_there_are_several_players(browser: TestClient) -> None:
    assert "Choose a player" in browser.get("/start/focus").text


def test_a_round_shows_each_throw_with_its_miss_in_bold(browser: TestClient, typed: Imported) -> None:
    round_ = typed.rounds[5]
    shown = browser.get(f"/rounds/{round_.id}").text
    missed = sum(t.execution.value == "miss" for hole in round_.holes for t in hole.throws)
    assert shown.count("<strong>miss</strong>") == missed
    for hole in round_.holes:
        for throw in hole.throws:
            if throw.words:
                assert f"<q>{throw.words}</q>" in shown
    view = round_view(round_, None)
    assert sum(len(hole.throws) for hole in view["holes"]) == sum(len(hole.throws) for hole in round_.holes)


def test_the_score_of_a_round_that_was_broken_off_says_of_how_many_holes_it_is(
    browser: TestClient, store: Store, typed: Imported
) -> None:
    whole = typed.rounds[5]

    def score_of(id_: str) -> str:
        shown = browser.get(f"/rounds/{id_}").text
        figure = re.search(r"<dt>score</dt><dd>(.*?)</dd>", shown, re.S)
        assert figure is not None
        return " ".join(re.sub(r"<[^>]+>", " ", figure[1]).split())

    assert "holes" not in score_of(whole.id)
    for scored in (7, 0):
        left = [replace(hole, score=Value(None)) if hole.number > scored else hole for hole in whole.holes]
        store.add_rounds([replace(whole, id=f"LEFT{scored}", holes=tuple(left))])
    got = sum(int(str(hole.score.value)) for hole in whole.holes[:7])
    assert score_of("LEFT7").startswith(f"{got} ")
    assert score_of("LEFT7").endswith(f"7 of {len(whole.holes)} holes")
    assert score_of("LEFT0") == "–"


def test_every_value_of_a_round_from_a_card_leads_to_its_place_on_the_card(
    browser: TestClient, store: Store, serial: str
) -> None:
    shown = browser.get(f"/rounds/{serial}").text
    for field in ("h05.drive", "h05.score", "h10.putt1", "wind"):
        assert f"/card/{serial}?at={field}#edit" in shown
    paths = {re.sub("#.*", "", path) for path in re.findall(r'href="(/card/[^"]+at=[^"]+)"', shown)}
    assert len(paths) > 90
    # A page costs 30 ms: those of the head and of three holes, of which two have what is asked about.
    holes = ("h01", "h05", "h10")
    opened = [path for path in paths if not re.search(r"at=h\d\d", path) or path.split("at=")[1][:3] in holes]
    assert len(opened) > 15
    for path in opened:
        assert browser.get(path).status_code == 200, path
    known = set(store.card(serial).fields)
    assert {path.split("at=")[1] for path in paths} <= known


def test_own_words_are_shown_as_ink(browser: TestClient, filled: Store, serial: str) -> None:
    shown = browser.get(f"/rounds/{serial}").text
    inks = re.findall(r'src="(/picture/[^"]+)"', shown)
    assert inks
    for path in inks:
        assert browser.get(path).headers["content-type"] in ("image/png", "image/jpeg")


def test_a_hole_of_a_typed_round_is_changed_and_says_by_whom_over_what(
    browser: TestClient, filled: Store, typed: Imported
) -> None:
    round_ = typed.rounds[3]
    path = f"/rounds/{round_.id}/change/1"
    assert path in browser.get(f"/rounds/{round_.id}").text
    sent = form_of(browser.get(path).text)
    sent |= {"score": "7", "penalty": "2", "execution0": "miss", "words0": "tree kick", "cause0": "late"}
    sent["way0"] = ["left", "short"]
    assert browser.post(path, data=sent).status_code == 200
    now = filled.round(round_.id)
    assert now is not None
    hole, before = now.holes[0], round_.holes[0]
    assert (hole.score.value, hole.score.source, hole.score.by) == (7, "entered", "Wren")
    assert hole.score.over == before.score.value
    drive = hole.throws[0]
    assert (drive.execution.value, drive.words, drive.directions) == ("miss", "tree kick", ("left", "short"))
    assert drive.cause is not None
    assert drive.cause.value == "late"
    assert now.holes[1:] == round_.holes[1:]
    assert hole.par == before.par  # what stays the same keeps where it came from
    line = next(line for line in filled.summaries() if line.id == round_.id)
    assert line.score == sum(int(h.score.value or 0) for h in now.holes)


def test_a_wrong_number_changes_nothing_and_is_not_printed_back(
    browser: TestClient, filled: Store, typed: Imported
) -> None:
    round_ = typed.rounds[3]
    path = f"/rounds/{round_.id}/change/1"
    sent = form_of(browser.get(path).text) | {"score": "seven-hundred"}
    refused = browser.post(path, data=sent)
    assert refused.status_code == 422
    assert "seven-hundred" not in refused.text
    assert "Nothing was kept" in refused.text
    for wrong in ({"score": "100"}, {"phase0": "putt"}, {"way0": "up"}):
        assert browser.post(path, data=sent | {"score": "4"} | wrong).status_code == 422
    assert filled.round(round_.id) == round_


def test_somebody_elses_change_is_not_overwritten(
    browser: TestClient, filled: Store, typed: Imported
) -> None:
    path = f"/rounds/{typed.rounds[3].id}/change/1"
    sent = form_of(browser.get(path).text)
    browser.post(path, data=sent | {"score": "6"})
    second = browser.post(path, data=sent | {"score": "5"})
    assert second.status_code == 422
    assert "Somebody changed this round" in second.text
    now = filled.round(typed.rounds[3].id)
    assert now is not None
    assert now.holes[0].score.value == 6


def test_what_waits_in_a_typed_round_waits_on_until_somebody_says_what_it_is(
    browser: TestClient, filled: Store
) -> None:
    from tests.records.exchanging.test_export import played

    filled.add_rounds([played(flags={"h02.score": "faint", "h01.drive": "faint"}, serial="WAITS222")])
    first, second = "/rounds/WAITS222/change/1", "/rounds/WAITS222/change/2"
    browser.post(first, data=form_of(browser.get(first).text) | {"par": "4"})
    now = filled.round("WAITS222")
    assert now is not None
    assert now.holes[0].throws[0].execution.status == "waits"
    assert set(now.waiting) == {"h01.drive", "h02.score"}
    browser.post(first, data=form_of(browser.get(first).text) | {"execution0": "clean"})
    browser.post(second, data=form_of(browser.get(second).text) | {"score": "4"})
    now = filled.round("WAITS222")
    assert now is not None
    assert now.waiting == ()
    assert now.holes[1].score.value == 4
    assert next(line for line in filled.summaries() if line.id == "WAITS222").waits == 0


def test_a_wrong_date_is_put_right_on_the_page(browser: TestClient, filled: Store, typed: Imported) -> None:
    path = f"/rounds/{typed.rounds[0].id}/change"
    sent = form_of(browser.get(path).text) | {
        "played_on": "2025-11-09",
        "course": "Quern Hollow",
        "wind": "strong",
    }
    assert browser.post(path, data=sent).status_code == 200
    now = filled.round(typed.rounds[0].id)
    assert now is not None
    assert (now.day, now.course, now.wind.value) == (date(2025, 11, 9), "Quern Hollow", "strong")
    assert (now.played_on.by, now.played_on.over) == ("Wren", typed.rounds[0].played_on.value)
    assert (
        browser.post(path, data=form_of(browser.get(path).text) | {"played_on": "2025-02-30"}).status_code
        == 422
    )


def test_a_round_from_a_card_is_not_changed_behind_its_card(browser: TestClient, serial: str) -> None:
    assert browser.get(f"/rounds/{serial}/change").status_code == 404
    assert browser.post(f"/rounds/{serial}/change/1", data={"seen": "x"}).status_code == 404
    assert browser.get("/rounds/NONE/change").status_code == 404


def test_a_courses_figures_are_those_of_its_rounds(browser: TestClient, typed: Imported) -> None:
    there = [r for r in typed.rounds if r.course == "Quern Hollow"]
    line = next(line for line in course_lines(typed.rounds) if line.key.course == "Quern Hollow")
    scores = [sum(int(h.score.value or 0) for h in r.holes) for r in there]
    assert (line.rounds, line.best) == (len(there), min(scores))
    assert line.mean == pytest.approx(sum(scores) / len(scores))
    holes = course_holes(there)
    assert len(holes) == 9
    first = [int(r.holes[0].score.value or 0) for r in there]
    assert holes[0].mean == pytest.approx(sum(first) / len(first))
    assert sum(n for _, n in holes[0].scores) == len(there)
    shown = browser.get("/course?name=Quern%20Hollow&layout=short&holes=9").text
    assert f"{holes[0].missed} of {holes[0].marked}," in shown
    assert ">length</th>" not in shown  # none of these rounds says how long a hole is
    assert browser.get("/course?name=Nowhere&holes=9").status_code == 404


def test_a_course_has_a_par_where_all_its_rounds_say_the_same(typed: Imported) -> None:
    one, other = rounds_of(Player(), 2, np.random.default_rng(3))
    assert course_lines([one, other])[0].par == sum(int(h.par.value or 0) for h in one.holes)
    moved = replace(other.holes[0], par=Value(int(other.holes[0].par.value or 0) + 1))
    assert course_lines([one, replace(other, holes=(moved, *other.holes[1:]))])[0].par is None


def test_a_player_has_a_worst_phase_where_one_alone_leads_in_rounds_of_one_game(filled: Store) -> None:
    line = next(one for one in filled.summaries() if one.player == "Wren")

    def most(*misses: int) -> str:
        return player_lines([replace(line, misses=tuple(zip(PHASES, misses, strict=True)))])[0].most

    assert (most(2, 7, 3), most(7, 7, 3), most(0, 0, 0)) == ("approaches", "", "")
    fours = tuple((phase, 9) for phase in ("drive", "fairway", "upshot", "putt"))
    lines = [replace(line, misses=fours)] * 3 + [replace(line, misses=tuple((p, 1) for p in PHASES))] * 2
    (told,) = player_lines(lines)
    assert (told.rounds, told.late, told.misses) == (5, 2, (1.0, 1.0, 1.0))


def test_a_card_that_asks_for_misses_alone_tells_no_share_of_them() -> None:
    """Its throws are the misses and what their number proves, and no others."""
    full, short = rounds_of(Player(), 2, np.random.default_rng(3))
    holes = tuple(
        replace(h, throws=tuple(replace(t, execution=Value("clean", source="default")) for t in h.throws[:1]))
        for h in short.holes[1:]
    )
    missed = replace(short.holes[0], throws=tuple(invented.throw(i, "putt", "miss") for i in (1, 2)))
    both = course_holes([full, replace(short, holes=(missed, *holes))])
    alone = course_holes([full])
    assert [(h.missed, h.marked, h.low, h.high) for h in both] == [
        (h.missed, h.marked, h.low, h.high) for h in alone
    ]
    assert both[0].misses[2] == alone[0].misses[2] + 2


@pytest.mark.parametrize(("count", "of"), [(0, 5), (1, 7), (13, 43), (18, 59), (43, 43)])
def test_the_range_of_a_share_is_wilsons(count: int, of: int) -> None:
    from statsmodels.stats.proportion import proportion_confint  # a second to load

    # statsmodels' proportion_confint, method "wilson" (Brown, Cai, DasGupta 2001).
    low, high = proportion_confint(count, of, alpha=0.1, method="wilson")
    assert share_range(count, of) == pytest.approx((low, high), abs=1e-9)


def test_a_calendar_has_every_day_of_a_year_once_with_what_was_done(
    browser: TestClient, filled: Store
) -> None:
    months = months_of(2028, {})  # ISO 8601: 1 January 2028 is a Saturday; a leap year
    days = [d.day for m in months for week in m.weeks for d in week if d is not None]
    assert len(days) == len(set(days)) == 366
    assert all(len(week) == 7 for m in months for week in m.weeks)
    assert months[0].weeks[0].index(next(d for d in months[0].weeks[0] if d)) == 5
    shown = browser.get("/calendar?year=2026").text
    assert "45 minutes of putts, Ash" in shown
    in_2026 = [line for line in filled.summaries() if line.played_on and line.played_on.year == 2026]
    list_ = shown[shown.index('id="done"') :]
    assert len(re.findall(r'href="/rounds/', list_)) == len(in_2026)


def test_one_slip_in_a_year_does_not_open_a_calendar_that_nobody_has_seen(
    browser: TestClient, filled: Store
) -> None:
    newest = max(line.played_on.year for line in filled.summaries() if line.played_on)
    assert f"<h1>{newest}</h1>" in browser.get("/calendar").text
    (slip,) = rounds_of(Player("Wren"), 1, np.random.default_rng(3), start=date(2077, 5, 3), prefix="slip")
    filled.add_rounds([slip])
    shown = browser.get("/calendar").text
    assert f"<h1>{newest}</h1>" in shown
    assert "/calendar?year=2077" in shown


def test_words_are_found_whatever_their_case(browser: TestClient, typed: Imported) -> None:
    expected = sum(
        "wind" in text.casefold()
        for r in typed.rounds
        for text in [*(t.words or "" for h in r.holes for t in h.throws), r.notes.get("resolve", "")]
    )
    assert len(search(typed.rounds, "WIND")) == expected > 0
    found = search(typed.rounds, " wind  from ")[0]
    assert found.match == "wind from"
    shown = browser.get("/notes?q=%3Cscript%3E").text
    assert "<script>" not in shown.split("<main")[1]
    assert "Nothing of that." in shown
    from dataclasses import replace

    odd = replace(typed.rounds[0], notes={"resolve": "Straße im Wind"})
    assert [n.match for n in search([odd], "STRASSE IM")] == ["Straße im"]


def test_words_are_found_where_they_stand_and_no_endless_list_of_them(typed: Imported) -> None:
    noted = replace(typed.rounds[0], notes={"resolve": "am Fuß im WIND ruhig"}, holes=())
    (found,) = search([noted], "wind")
    assert (found.before, found.match, found.after) == ("am Fuß im ", "WIND", " ruhig")
    assert len(search([noted] * (MOST_FOUND + 5), "wind")) == MOST_FOUND


def test_players_are_counted_in_good_english(browser: TestClient, filled: Store) -> None:
    shown = browser.get("/players").text
    assert "<h1>2 players</h1>" in shown
    lines = player_lines(filled.summaries())
    assert [line.name for line in lines] == ["Ash", "Wren"]
    assert sum(line.rounds for line in lines) == 40
    assert player_lines(filled.summaries(), {"Robin"})[1].rounds == 0
    late = lines[1].missed
    assert [phase for _mean, phase in late] == ["drives", "approaches", "putts"]
    for mean, phase in late:
        assert (f"{mean:.1f} {phase}" in shown, f"<b>{mean:.1f} {phase}</b>" in shown) == (
            True, phase == lines[1].most
        )  # fmt: skip
    assert (count_said(1, "player"), count_said(0, "player")) == ("1 player", "0 players")
    assert (ordinal(1), ordinal(11)) == ("first", "number 11")


def test_nine_and_eighteen_holes_and_several_players_never_share_a_chart(browser: TestClient) -> None:
    shown = browser.get("/rounds").text
    titles = re.findall(r"<h3>([^<]+)</h3>", shown)
    assert {"Wren, 18 holes", "Wren, 9 holes", "Ash, 18 holes", "Ash, 9 holes"} <= set(titles)


def form_of(page: str) -> dict[str, object]:
    """What a browser would send of the page's only form with hidden fields, untouched."""
    form = next(
        f for f in re.findall(r"<form [^>]*method=\"post\".*?</form>", page, re.DOTALL) if 'name="seen"' in f
    )
    sent: dict[str, object] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        attrs = dict(re.findall(r'(\w+)="([^"]*)"', tag))
        if attrs.get("type") == "checkbox":
            if "checked" in tag:
                sent.setdefault(attrs["name"], []).append(attrs["value"])  # type: ignore[attr-defined]
        else:
            sent[attrs["name"]] = attrs.get("value", "")
    for name, inside in re.findall(r'<select id="[^"]*" name="([^"]*)">(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r'<option(?: value="([^"]*)")? selected>([^<]*)', inside)
        sent[name] = (chosen[1] if chosen[1] is not None else chosen[2]) if chosen else ""
    return sent
