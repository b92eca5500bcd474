"""The page about one player: their rounds, how much is asked, their hand; sessions told; forgetting a player.

Routes only. Forgetting is the laptop's alone, says before what goes, and wants the name typed.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.forms.rules import many_said
from shortpencil.forms.shown import whole_letters
from shortpencil.scan.language import _, carried, first_upper
from shortpencil.scan.language import told as tell
from shortpencil.scan.records.storing.told import ToldSession, checked
from shortpencil.scan.review.asked import Page, clean_text, form_of, get, laptop_only, off, post
from shortpencil.scan.review.desk import Desk, chores_of
from shortpencil.scan.review.naming import count_said, day_said

HANDS = ("erase", "off", "on")


def routes(desk: Desk, page: Page) -> list[Route]:
    """Return the routes of these pages; `page` renders a template for a request."""
    site = AboutPages(desk, page)
    return [
        get("/player", site.player),
        post("/player/hand", site.hand),
        get("/player/forget", site.ask_forget),
        post("/player/forget", site.forget),
        get("/sessions", site.sessions),
        post("/sessions", site.tell),
        post("/sessions/back", site.take_back),
    ]


class AboutPages:
    """The pages, over one desk."""

    def __init__(self, desk: Desk, page: Page) -> None:
        self._desk, self._page = desk, page

    # -- one player --------------------------------------------------------------------------------------

    async def player(self, request: Request) -> Response:
        name = request.query_params.get("name", "")
        store = self._desk.store

        def work() -> dict[str, Any]:
            lines = [line for line in store.summaries() if line.player == name]
            kept = {hand.player: hand for hand in store.kept_hands()}
            hand = kept.get(name)
            digits = [] if hand is None else [sum(counts) for counts in hand.by_digit.values()]
            return {
                "rounds": len(lines),
                "last": max((line.played_on for line in lines if line.played_on), default=None),
                "digits": sum(digits),
                "off": hand is not None and hand.off,
                "how": store.how_to_ask(name or None),
                "traces": bool(lines) or hand is not None or bool(store.traces_of(name)),
            }

        found = await off(work)
        if not name or not found.pop("traces"):
            raise HTTPException(404, "There is no player of that name.")
        return self._page(request, "player.html", name=name, count=count_said, day_said=day_said, **found)

    async def hand(self, request: Request) -> Response:
        """Erase a player's handwriting, keep none of it, or learn it again."""
        laptop_only(request, carried("What is kept of a hand is changed on the laptop's page."))
        chores, form = chores_of(self._desk), await form_of(request)
        name, how = clean_text(form, "name"), clean_text(form, "how")
        if how not in HANDS or not name:
            raise InputError("expected whose hand, and whether to erase it, keep none or learn it again.")
        await off(lambda: chores.change_hand(name, how))
        return RedirectResponse(f"/player?name={quote(name, safe='')}", 303)

    async def ask_forget(self, request: Request) -> Response:
        """Say what would go, and ask for the name."""
        laptop_only(request, carried("A player is forgotten on the laptop's page."))
        return await self._forget_page(request, request.query_params.get("name", ""))

    async def _forget_page(
        self, request: Request, name: str, status: int = 200, notice: str = ""
    ) -> Response:
        chores = chores_of(self._desk)
        traces, copies = await off(lambda: (chores.traces(name) if name else "", len(chores.before())))
        if not traces:
            raise HTTPException(404, "There is no player of that name.")
        return self._page(
            request, "forget.html", status, name=name, traces=traces, copies=copies, notice=notice, gone=False
        )

    async def forget(self, request: Request) -> Response:
        """Erase everything that is kept of a player whose name was typed."""
        laptop_only(request, carried("A player is forgotten on the laptop's page."))
        chores, form = chores_of(self._desk), await form_of(request)
        name, typed = str(form.get("name", "")), str(form.get("typed", "")).strip()
        if whole_letters(typed) != whole_letters(name.strip()):
            says = _("The name was not typed as it stands. Nothing was erased.")
            return await self._forget_page(request, name, 422, says)
        traces = await off(lambda: chores.traces(name) if name else "")
        if not traces:
            raise HTTPException(404, "There is no player of that name.")
        await off(lambda: chores.forget(name))
        copies = await off(lambda: len(chores.before()))
        return self._page(
            request, "forget.html", name=name, traces=traces, copies=copies, notice="", gone=True
        )

    # -- sessions told -----------------------------------------------------------------------------------

    async def sessions(self, request: Request) -> Response:
        return await self._sessions_page(request)

    async def _sessions_page(self, request: Request, status: int = 200, notice: str = "") -> Response:
        store, today = self._desk.store, self._desk.now().astimezone().date()

        def work() -> dict[str, Any]:
            players = sorted({line.player for line in store.summaries() if line.player}, key=str.casefold)
            phases = {phase: many_said(phase) for phase in store.phases_known()}
            return {"told": store.told_sessions()[::-1], "players": players, "phases": phases}

        return self._page(
            request,
            "sessions.html",
            status,
            notice=notice,
            today=today,
            player=request.query_params.get("player", ""),
            count=count_said,
            day_said=day_said,
            **await off(work),
        )

    async def tell(self, request: Request) -> Response:
        """Keep a session of practice told by hand."""
        form, now = await form_of(request), self._desk.now()
        minutes, phase = clean_text(form, "minutes"), clean_text(form, "phase")
        try:
            if not (minutes.isascii() and minutes.isdigit() and len(minutes) < 5):
                raise InputError("expected whole minutes, found something else.")
            try:
                day = date.fromisoformat(clean_text(form, "day"))
            except ValueError:
                raise InputError("expected a day, found something else.") from None
            told = ToldSession(day, phase, int(minutes), clean_text(form, "player") or None)
            await off(lambda: self._keep_session(told, now))
        except InputError as error:
            return await self._sessions_page(request, 422, first_upper(tell(str(error))))
        return RedirectResponse("/sessions", 303)

    def _keep_session(self, told: ToldSession, now: datetime) -> None:
        store = self._desk.store
        if told.player is None and len({line.player for line in store.summaries() if line.player}) > 1:
            raise InputError("expected whose session it was, found nobody.")
        store.tell_session(checked(told, now.astimezone().date(), store.phases_known()), now)

    async def take_back(self, request: Request) -> Response:
        """Remove a session told by mistake."""
        number = clean_text(await form_of(request), "number")
        if not (number.isascii() and number.isdigit() and len(number) < 10):
            raise InputError("expected the number of a session, found something else.")
        try:
            await off(lambda: self._desk.store.take_back_session(int(number)))
        except RecordError:  # somebody else did it meanwhile
            return await self._sessions_page(request, 409, _("That session was taken back already."))
        return RedirectResponse("/sessions", 303)
