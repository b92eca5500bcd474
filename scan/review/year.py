"""Pages of a year of use: start, rounds, courses, calendar, notes, players. Routes only, as in `app`.

GET changes nothing. Pure modules beside this one work out what is shown: `naming`, `played`, `courses`,
`days`, `notes`, `people`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any
from urllib.parse import quote

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from shortpencil.forms.causes import causes_said
from shortpencil.forms.errors import InputError, RecordError
from shortpencil.forms.rules import phase_said
from shortpencil.forms.shown import whole_letters
from shortpencil.scan.language import _, first_upper, listed, told
from shortpencil.scan.reading import CARD_PICTURE
from shortpencil.scan.records.composing.practice_sets import PHASES_OF_SHEETS
from shortpencil.scan.records.composing.rounds import EXECUTIONS, Round
from shortpencil.scan.records.recording.editing import HeadGiven, HoleGiven, ThrowGiven, with_head, with_hole
from shortpencil.scan.records.recording.record_json import round_text
from shortpencil.scan.records.storing.summary import Summary
from shortpencil.scan.review import pages
from shortpencil.scan.review.asked import Page, form_of, get, off, post, text_of
from shortpencil.scan.review.courses import CourseKey, course_games, course_lines, key_of
from shortpencil.scan.review.days import entries_of, months_of, weekdays
from shortpencil.scan.review.desk import Desk
from shortpencil.scan.review.naming import count_said, day_said
from shortpencil.scan.review.notes import search
from shortpencil.scan.review.people import player_lines
from shortpencil.scan.review.played import round_view
from shortpencil.scan.review.shelf import Shelf, all_that_waits, round_name, round_shelf, shelf

LATELY = 6
LONGEST_TEXT = 500
SPARE_THROWS = 2  # lines for throws that a person adds to a hole
RESOLVE = "resolve"


def routes(desk: Desk, page: Page) -> list[Route]:
    """Return the routes of these pages; `page` renders a template for a request."""
    site = YearPages(desk, page)
    return [
        get("/", site.start),
        get("/start/focus", site.focus),
        get("/rounds", site.rounds),
        get("/rounds/{serial}", site.round),
        get("/rounds/{serial}/change", site.head),
        post("/rounds/{serial}/change", site.change_head),
        get("/rounds/{serial}/change/{hole:int}", site.hole),
        post("/rounds/{serial}/change/{hole:int}", site.change_hole),
        get("/courses", site.courses),
        get("/course", site.course),
        get("/calendar", site.calendar),
        get("/notes", site.notes),
        get("/players", site.players),
    ]


class YearPages:
    """The pages, over one desk."""

    def __init__(self, desk: Desk, page: Page) -> None:
        self._desk, self._page = desk, page

    # -- start -------------------------------------------------------------------------------------------

    async def start(self, request: Request) -> Response:
        player = request.query_params.get("player", "")

        def work() -> dict[str, Any]:
            found = shelf(self._desk.store, self._desk.title_of)
            waiting = all_that_waits(self._desk.store)
            mine = [line for line in found.lines if player in ("", line.player)]
            dated = [line for line in mine if line.played_on]
            last = (dated or mine)[-1] if mine else None
            whole = self._desk.store.round(last.id) if last else None
            ink = last is not None and self._desk.store.picture(last.id, RESOLVE) is not None
            return {
                "shelf": found,
                "waiting": waiting,
                "lacking": sum(len(name.known) < 3 for name in found.rounds.values()),
                "questions": sum(len(fields) for _, fields in waiting),
                "last": last,
                "whose": player or (last.player if last else None) or "",
                "view": None if whole is None else round_view(whole, self._form(whole)),
                "ink": ink,
                "lately": [line for line in reversed(dated or mine) if line is not last][:LATELY],
            }

        found = await off(work)
        return self._page(request, "home.html", player=player, day_said=day_said, count=count_said, **found)

    async def focus(self, request: Request) -> Response:
        """Answer the part of the start page that takes longest to work out, which comes after the rest."""
        player = request.query_params.get("player") or None

        def work() -> Any:
            players = {line.player for line in self._desk.store.summaries() if line.player}
            if player is None and len(players) > 1:
                return _("Choose a player to see what to practise next.")
            return self._desk.focus(player, 30)

        return self._page(request, "start_focus.html", view=await off(work), player=player or "")

    # -- rounds ------------------------------------------------------------------------------------------

    async def rounds(self, request: Request) -> Response:
        player = request.query_params.get("player", "")
        found, aside = await off(lambda: (round_shelf(self._desk.store), self._desk.store.aside()))
        others = await off(lambda: self._desk.store.other_sheets(player or None))
        lines = [line for line in found.lines if player in ("", line.player)]
        return self._page(
            request,
            "rounds.html",
            others=others,
            day_said=day_said,
            lines=lines,
            names=found.rounds,
            players=found.players,
            player=player,
            games=_games(lines),
            seasons=_seasons(lines),
            aside=aside,
        )

    async def round(self, request: Request) -> Response:
        serial = request.path_params["serial"]

        def work() -> dict[str, Any]:
            found = self._round(serial)
            return {
                "r": found,
                "name": round_name(self._desk.store, serial),
                "long_day": day_said(found.day, long=True),
                "has_card": self._has_card(found),
                "ink": self._desk.store.picture(serial, RESOLVE) is not None,
                **self._desk.copies(serial),
                **round_view(found, self._form(found)),
            }

        return self._page(request, "round.html", count=count_said, **await off(work))

    async def head(self, request: Request) -> Response:
        round_ = await off(lambda: self._from_file(request.path_params["serial"]))
        return self._page(request, "round_head.html", r=round_, seen=_stamp(round_), notice="")

    async def change_head(self, request: Request) -> Response:
        form = await form_of(request, most=200)
        texts = {key: _text(form, key) for key in HeadGiven.__slots__}

        def change(round_: Round, by: str) -> Round:
            return with_head(round_, HeadGiven(**texts), by, self._desk.now())

        return await self._change(request, form, change, "round_head.html", {})

    async def hole(self, request: Request) -> Response:
        number = request.path_params["hole"]
        round_ = await off(lambda: self._from_file(request.path_params["serial"]))
        return self._page(
            request, "round_hole.html", seen=_stamp(round_), notice="", **_hole_page(round_, number)
        )

    async def change_hole(self, request: Request) -> Response:
        form = await form_of(request, most=200)
        number = request.path_params["hole"]

        def change(round_: Round, by: str) -> Round:
            return with_hole(round_, number, _hole_given(form), by, self._desk.now())

        return await self._change(request, form, change, "round_hole.html", {"number": number})

    async def _change(
        self,
        request: Request,
        form: FormData,
        change: Callable[[Round, str], Round],
        template: str,
        more: Mapping[str, Any],
    ) -> Response:
        """Change a round from a file; show the form again, with what stands now, where that can't be."""
        serial, by = request.path_params["serial"], request.scope["session"].name

        def work() -> str:
            round_ = self._from_file(serial)
            if _text(form, "seen") != _stamp(round_):
                return _(
                    "Somebody changed this round while you looked. Your changes were not kept; look again."
                )
            try:
                changed = change(round_, by)
            except InputError as error:
                return f"{first_upper(told(str(error)))} {_('Nothing was kept.')}"
            self._desk.store.add_rounds([changed], replace=True)
            return ""

        notice = await off(work)
        if not notice:
            number = more.get("number")
            return RedirectResponse(
                f"/rounds/{quote(serial, safe='')}" + (f"#hole-{number}" if number else ""), 303
            )
        round_ = await off(lambda: self._from_file(serial))
        shown = _hole_page(round_, more["number"]) if more else {"r": round_}
        return self._page(request, template, 422, seen=_stamp(round_), notice=notice, **shown)

    def _round(self, serial: str) -> Round:
        found = self._desk.store.round(serial)
        if found is None:
            raise HTTPException(404, "There is no such round.")
        return found

    def _from_file(self, serial: str) -> Round:
        """Return a round that is changed here; one read from its card is changed on that page."""
        found = self._round(serial)
        if self._form(found) is not None:
            raise HTTPException(404, "This round was read from its card. Change it on the page of the card.")
        return found

    def _has_card(self, round_: Round) -> bool:
        if self._form(round_) is not None:
            return True
        return self._desk.store.picture(round_.id, CARD_PICTURE) is not None  # of a round from a file

    def _form(self, round_: Round) -> Any:
        """Return the form of a round's card; None for a round that came from a file."""
        try:
            card = self._desk.store.card(round_.id)
        except RecordError:
            return None
        return None if self._desk.store.came_from_file(round_.id) else card.form

    # -- courses, calendar, notes, players ---------------------------------------------------------------

    async def courses(self, request: Request) -> Response:
        player = request.query_params.get("player", "")
        rounds = await off(self._desk.store.rounds)
        mine = [r for r in rounds if player in ("", r.player)]
        return self._page(
            request,
            "courses.html",
            lines=course_lines(mine),
            unnamed=sum(not r.course for r in mine),
            players=_players(rounds),
            player=player,
            day_said=day_said,
            count=count_said,
        )

    async def course(self, request: Request) -> Response:
        asked = request.query_params
        player, holes = asked.get("player", ""), asked.get("holes", "")
        rounds = await off(self._desk.store.rounds)
        key = CourseKey(
            asked.get("name", ""), asked.get("layout", ""), int(holes) if _is_number(holes) else 0
        )
        there = [r for r in rounds if key_of(r) == key]
        if not there:
            raise HTTPException(404, "There is no round on such a course.")
        mine = [r for r in there if player in ("", r.player)]
        return self._page(
            request,
            "course.html",
            key=key,
            rounds=len(mine),
            games=course_games(mine),
            line=next(iter(course_lines(mine)), None),
            players=_players(there),
            player=player,
            day_said=day_said,
            count=count_said,
        )

    async def calendar(self, request: Request) -> Response:
        player, asked = request.query_params.get("player", ""), request.query_params.get("year", "")

        def work() -> tuple[Shelf, dict[date, list[Any]]]:
            found = round_shelf(self._desk.store)
            lines = [line for line in found.lines if player in ("", line.player)]
            sets = [s for s in self._desk.store.practice() if player in ("", s.player)]
            told = [s for s in self._desk.store.told_sessions() if player in ("", s.player)]
            phases = self._desk.chores.phases_of_drills() if self._desk.chores else PHASES_OF_SHEETS
            return found, entries_of(lines, found.rounds, sets, told, phases)

        found, entries = await off(work)
        years = sorted({day.year for day in entries}) or [self._desk.now().year]
        # one slip in a date does not open a year that nobody has seen
        seen = [one for one in years if one <= self._desk.now().year] or years
        year = int(asked) if _is_number(asked) and 1 <= int(asked) <= 9999 else seen[-1]
        return self._page(
            request,
            "calendar.html",
            year=year,
            years=years,
            months=months_of(year, entries),
            weekdays=weekdays(),
            players=found.players,
            player=player,
            count=count_said,
        )

    async def notes(self, request: Request) -> Response:
        asked = whole_letters(request.query_params.get("q", "").strip()[:100])
        found, notes = await off(
            lambda: (round_shelf(self._desk.store), search(self._desk.store.rounds(), asked))
        )
        return self._page(
            request, "notes.html", asked=asked, notes=notes, names=found.rounds, count=count_said
        )

    async def players(self, request: Request) -> Response:
        lines = await off(self._desk.store.summaries)
        return self._page(
            request, "players.html", players=player_lines(lines), day_said=day_said, count=count_said
        )


def _games(lines: Sequence[Summary]) -> list[tuple[tuple[str, ...], list[Summary]]]:
    """Return the rounds of each game by the phases of it, the game of the latest round first."""
    groups: dict[tuple[str, ...], list[Summary]] = {}
    for line in reversed(lines):
        groups.setdefault(line.phases, []).append(line)
    return list(groups.items())


def _seasons(lines: Sequence[Summary]) -> list[tuple[str, list[pages.Strip]]]:
    """Return the charts of the rounds, a set for each player, number of holes and game: never mixed."""
    groups: dict[tuple[str, int, tuple[str, ...]], list[Summary]] = {}
    for line in lines:
        groups.setdefault((line.player or "", line.holes, line.phases), []).append(line)
    several = len({player for player, _, _ in groups}) > 1
    games = len({phases for _, _, phases in groups}) > 1
    found = []
    for (player, holes, phases), mine in sorted(groups.items(), key=lambda item: -len(item[1])):
        game = _("of {phases}", phases=listed([phase_said(phase) for phase in phases])) if games else ""
        parts = ((player or _("no name")) if several else "", count_said(holes, "hole"), game)
        title = ", ".join(part for part in parts if part)
        found.append((title, pages.season(mine)))
    return found


def _hole_page(round_: Round, number: int) -> dict[str, Any]:
    hole = next((hole for hole in round_.holes if hole.number == number), None)
    if hole is None:
        raise HTTPException(404, "There is no such hole in this round.")
    numbers = [h.number for h in round_.holes]
    at = numbers.index(number)
    return {
        "r": round_,
        "number": number,
        "hole": hole,
        "causes": causes_said(),
        "spare": range(len(hole.throws), len(hole.throws) + SPARE_THROWS),
        "before": numbers[at - 1] if at else None,
        "after": numbers[at + 1] if at + 1 < len(numbers) else None,
    }


def _hole_given(form: FormData) -> HoleGiven:
    """Return a hole as the page's form sends it; a throw without a phase is none."""
    throws = []
    at = 0
    while f"phase{at}" in form:
        phase, execution = _text(form, f"phase{at}"), _text(form, f"execution{at}")
        if phase:
            throws.append(
                ThrowGiven(
                    phase,
                    execution if execution in EXECUTIONS else "",
                    _number(form, f"distance{at}", "distance"),
                    _text(form, f"stance{at}") or None,
                    tuple(str(way) for way in form.getlist(f"way{at}")),
                    _text(form, f"forehand{at}") == "yes",
                    _text(form, f"cause{at}") or None,
                    _text(form, f"words{at}"),
                )
            )
        at += 1
    penalty = _number(form, "penalty", "penalty throws") or 0
    return HoleGiven(_number(form, "score", "score"), _number(form, "par", "par"), penalty, tuple(throws))


def _number(form: FormData, key: str, name: str) -> int | None:
    text = _text(form, key)
    if not text:
        return None
    if not _is_number(text):
        raise InputError(f"{name}: expected a whole number, found something else.")
    return int(text)


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 6


def _stamp(round_: Round) -> str:
    """Return a short sum of a round as it stands, which a form carries back."""
    return hashlib.sha256(round_text(round_).encode()).hexdigest()[:16]


def _players(rounds: Sequence[Round]) -> list[str]:
    return sorted({r.player for r in rounds if r.player}, key=str.casefold)


def _text(form: FormData, name: str) -> str:
    return " ".join(text_of(form, name).split())[:LONGEST_TEXT]
