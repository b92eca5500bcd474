"""Pages that do what the command line does too: print, set up a course, club evenings, the phone's switch.

Routes only. GET shows what can be asked for; what writes, cards that become known among it, is a POST.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any
from urllib.parse import quote

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from shortpencil.forms.catalog import round_card, says_twice
from shortpencil.forms.errors import InputError
from shortpencil.scan.courses import CourseGiven, CourseHoleGiven
from shortpencil.scan.evening import evenings_of
from shortpencil.scan.language import LANGUAGES, carried, told
from shortpencil.scan.records.composing.rounds import is_day
from shortpencil.scan.review.asked import Page, clean, clean_text, form_of, get, laptop_only, off, post
from shortpencil.scan.review.chores import (
    CardsAsked,
    Chores,
    FormName,
    evening_said,
)
from shortpencil.scan.review.desk import Desk, chores_of
from shortpencil.scan.review.naming import count_said, day_said
from shortpencil.scan.review.shelf import round_shelf

MOST_COPIES, MOST_PLAYERS = 100, 500
LONGEST_NAME = 60
MOST_MINUTES = 120  # the longest session that the plan makes
HOLES = (9, 18, 27)


def routes(desk: Desk, page: Page) -> list[Route]:
    """Return the routes of these pages; `page` renders a template for a request."""
    site = DoingPages(desk, page)
    return [
        get("/print", site.cards),
        post("/print", site.print_cards),
        get("/print/course", site.course),
        post("/print/course", site.keep_course),
        get("/print/practice", site.practice),
        post("/print/practice", site.print_practice),
        get("/evenings", site.evenings),
        get("/evening", site.evening),
        post("/phone/switch", site.switch),
    ]


class DoingPages:
    """The pages, over one desk."""

    def __init__(self, desk: Desk, page: Page) -> None:
        self._desk, self._page = desk, page

    @property
    def _chores(self) -> Chores:
        return chores_of(self._desk)

    # -- printing ----------------------------------------------------------------------------------------

    async def cards(self, request: Request) -> Response:
        return await self._cards_page(request)

    async def _cards_page(
        self, request: Request, status: int = 200, notice: str = "", given: Mapping[str, str] | None = None
    ) -> Response:
        """Show what can be chosen, with what was filled in; before that, what is usual."""
        chores, given = self._chores, given or {}
        course = given.get("course", request.query_params.get("course", ""))

        def work() -> dict[str, Any]:
            lines = self._desk.store.summaries()
            last = self._desk.store.round(lines[-1].id) if lines else None
            courses = chores.courses()
            holes = next((len(one.given.holes) for one in courses if one.key == course), 18)
            players = {line.player for line in lines if line.player}
            # Of several players the last one's hand is nobody's rule, and a card that is printed for a hand
            # asks for none.
            left = last is not None and last.hand.known == "left" and len(players) < 2
            usual = {
                "form": round_card(holes),
                "course": course,
                "paper": "a4",
                "unit": last.unit if last else "m",
                "hand": "left" if left else "right",
                "copies": "1",
                "evening": "",
                "players": next(iter(players)) if len(players) == 1 else "",
            }
            forms = _by_language(chores.form_names())
            return {"by_language": forms, "courses": courses, "filled": {**usual, **given}}

        return self._page(request, "print.html", status, notice=notice, most=MOST_COPIES, **await off(work))

    async def print_cards(self, request: Request) -> Response:
        chores, form = self._chores, await _form(request)
        if clean_text(form, "form") not in {one.name for one in chores.form_names()}:
            raise InputError("expected a form of the list, found another.")
        try:
            asked = _asked(form)
            pdf = await off(lambda: chores.cards(asked))
        except (InputError, ValueError) as error:
            given = {key: value for key, value in form.items() if isinstance(value, str)}
            return await self._cards_page(request, 422, told(str(error)), given)
        return _download(pdf, "cards.pdf")

    async def course(self, request: Request) -> Response:
        chores, key = self._chores, request.query_params.get("key", "")
        kept = next((one for one in await off(chores.courses) if one.key == key), None)
        unit = kept.given.unit if kept else await off(self._unit)
        if key and kept is None:
            raise HTTPException(404, "There is no such course.")
        text = request.query_params.get("holes", "18")
        count = len(kept.given.holes) if kept else int(text) if text in {str(n) for n in HOLES} else 18
        return self._page(
            request,
            "print_course.html",
            key=key,
            given=kept.given if kept else None,
            count=count,
            unit=unit,
            choices=HOLES,
        )

    def _unit(self) -> str:
        """Return the unit of the latest round: who lives with feet sees feet."""
        lines = self._desk.store.summaries()
        last = self._desk.store.round(lines[-1].id) if lines else None
        return last.unit if last else "m"

    async def keep_course(self, request: Request) -> Response:
        chores, form = self._chores, await _form(request, most=120)
        given = CourseGiven(
            clean_text(form, "name"),
            clean_text(form, "layout"),
            "ft" if clean_text(form, "unit") == "ft" else "m",
            _holes(form),
        )
        key = await off(lambda: chores.keep_course(given, clean_text(form, "key")))
        return RedirectResponse(f"/print?course={quote(key, safe='')}", 303)

    async def practice(self, request: Request) -> Response:
        lines = await off(self._desk.store.summaries)
        players = sorted({line.player for line in lines if line.player}, key=str.casefold)
        asked = request.query_params.get("player", "")
        return self._page(
            request, "print_practice.html", players=players, player=asked, any_round=bool(lines)
        )

    async def print_practice(self, request: Request) -> Response:
        chores, form = self._chores, await _form(request, most=MOST_PLAYERS)
        minutes, paper = _whole(form, "minutes", 10, MOST_MINUTES), _paper(form)
        players: list[str | None] = [str(name) for name in form.getlist("player") if name]
        players = players or [None]
        kind = clean_text(form, "sheet")
        if kind in ("evidence", "season"):
            pdf, without = await off(lambda: chores.report(kind, players, paper))
        else:
            kind, (pdf, without) = (
                "practice",
                await off(lambda: chores.practice(players, minutes, paper)),
            )
        if without and len(without) == len(players):
            raise InputError(" ".join(without))
        return _download(pdf, f"{kind}.pdf")

    # -- club evenings -----------------------------------------------------------------------------------

    async def evenings(self, request: Request) -> Response:
        chores = self._chores

        def work() -> list[tuple[str, str, str]]:
            found = evenings_of(self._desk.store, chores.evenings())
            return [(one.name, _day(one.printed), evening_said(one.lines)) for one in found]

        return self._page(request, "evenings.html", evenings=await off(work), count=count_said)

    async def evening(self, request: Request) -> Response:
        chores, name = self._chores, request.query_params.get("name", "")

        def work() -> dict[str, Any]:
            cards = chores.evenings().get(name)
            if cards is None:
                raise HTTPException(404, "There is no such evening.")
            (evening,) = evenings_of(self._desk.store, {name: cards})
            found = round_shelf(self._desk.store)
            return {
                "lines": evening.lines,
                "said": evening_said(evening.lines),
                "day": _day(evening.printed),
                "names": found.rounds,
                "scores": {line.id: line for line in found.lines},
            }

        return self._page(request, "evening.html", name=name, count=count_said, **await off(work))

    # -- the phone ---------------------------------------------------------------------------------------

    async def switch(self, request: Request) -> Response:
        form = await _form(request)
        laptop_only(request, carried("The phone is let in on the laptop's page."))
        if self._desk.switch_phone is None:
            raise HTTPException(404, "This page cannot let a phone in.")
        await self._desk.switch_phone(clean_text(form, "on") == "yes")
        return RedirectResponse("/phone", 303)


def _by_language(forms: Sequence[FormName]) -> list[tuple[str, str, list[FormName]]]:
    """Return the forms by the language they speak: its tag, its own name, the forms."""
    tags = dict.fromkeys(form.language for form in forms)
    return [(tag, LANGUAGES.get(tag, tag), [form for form in forms if form.language == tag]) for tag in tags]


def _asked(form: FormData) -> CardsAsked:
    """Return which cards a page's form asks for; names stand one a line."""
    value = form.get("players", "")
    lines = value.splitlines() if isinstance(value, str) else []
    players = tuple(name for line in lines if (name := clean(line)))
    if len(players) > MOST_PLAYERS:
        raise InputError(f"expected at most {MOST_PLAYERS} players, found more.")
    if says := says_twice(players):
        raise InputError(says)
    evening = clean_text(form, "evening")
    if evening and not players:
        raise InputError("expected the names of the players of an evening, one a line, found none.")
    return CardsAsked(
        form=clean_text(form, "form"),
        paper=_paper(form),
        unit="ft" if clean_text(form, "unit") == "ft" else "m",
        hand="left" if clean_text(form, "hand") == "left" else "right",
        players=players or ("",),
        copies=_whole(form, "copies", 1, MOST_COPIES),
        course=clean_text(form, "course"),
        evening=evening,
    )


def _holes(form: FormData) -> tuple[CourseHoleGiven, ...]:
    holes, number = [], 1
    while f"par{number}" in form:
        par, length = clean_text(form, f"par{number}"), clean_text(form, f"length{number}").replace(",", ".")
        if par and not (par.isascii() and par.isdigit()):
            raise InputError(f"hole {number}: expected a par from 2 to 6, found something else.")
        try:
            measured = float(length) if length else None
        except ValueError:
            raise InputError(f"hole {number}: expected a length, found something else.") from None
        holes.append(CourseHoleGiven(int(par) if par else None, measured))
        number += 1
    return tuple(holes)


def _whole(form: FormData, name: str, low: int, high: int) -> int:
    text = clean_text(form, name)
    if not (text.isascii() and text.isdigit() and len(text) < 6 and low <= int(text) <= high):
        raise InputError(f"{name}: expected a whole number from {low} to {high}, found something else.")
    return int(text)


def _paper(form: FormData) -> str:
    return "letter" if clean_text(form, "paper") == "letter" else "a4"


def _day(text: str) -> str:
    return day_said(date.fromisoformat(text)) if is_day(text) else text


def _download(pdf: bytes, name: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(pdf, media_type="application/pdf", headers=headers)


async def _form(request: Request, most: int = 40) -> FormData:
    return await form_of(request, most, 32 * 1024)
