"""Routes of the page that asks whose, where and when, once per card, and the list of cards that lack it."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote, urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.scan.language import told
from shortpencil.scan.records.composing.answers import AnsweredMeanwhile
from shortpencil.scan.records.recording.record_json import time_text
from shortpencil.scan.review.asked import form_of, get, off, post, session_of
from shortpencil.scan.review.card_pages import CardPages
from shortpencil.scan.review.glance_pages import Glanced
from shortpencil.scan.review.naming import Name
from shortpencil.scan.review.shelf import round_shelf
from shortpencil.scan.review.who import COURSE, DATE, LAYOUT, PLAYER, given_who, needs_of, who_of

_KEYS = (PLAYER, COURSE, LAYOUT, DATE)
_OTHER = "~other"


@dataclass(frozen=True, slots=True)
class WhoPages(CardPages):
    """The pages over one store."""

    def routes(self) -> list[Route]:
        """Return what answers which address."""
        return [
            get("/who", self.listed),
            get("/who/{serial}", self.ask),
            post("/who/{serial}", self.keep),
        ]

    def needs(self, serial: str) -> tuple[str, ...]:
        """Return what of player, course and date is to be asked of a card; nothing where there is no card."""
        try:
            return needs_of(self.store.card(serial), self.store.round(serial), self.store.summaries())
        except RecordError:
            return ()

    async def listed(self, request: Request) -> Response:
        """List the rounds without a name, a course or a day."""

        def work() -> tuple[list[tuple[str, Name]], bool]:
            shelf = round_shelf(self.store)
            lacking = [
                (line.id, shelf.rounds[line.id])
                for line in reversed(shelf.lines)
                if not (line.player and line.course and line.played_on)
            ]
            return lacking, bool(shelf.lines)

        lines, any_rounds = await off(work)
        return self.page(request, "who_list.html", lines=lines, any_rounds=any_rounds)

    async def ask(self, request: Request) -> Response:
        """Show the card's strips with suggestions."""
        return await self._shown(request, request.path_params["serial"])

    async def keep(self, request: Request) -> Response:
        """Keep what was said, and go on."""
        serial = request.path_params["serial"]
        form = await form_of(request, part=4096)
        texts = {}
        for key in _KEYS:
            if key in form:
                chosen = str(form[key])
                texts[key] = str(form.get(f"{key}-other", "")) if chosen == _OTHER else chosen
        seen = {name.removeprefix("seen-"): str(form[name]) for name in form if name.startswith("seen-")}
        session, now = session_of(request), self.now()

        def work() -> int:
            given = given_who(self.store.card(serial).form, texts, seen)
            if not given:
                raise InputError(
                    "expected an answer, found none. Choose one of the names, or say that there is none."
                )
            self.store.enter_all(serial, given, session.name, now)
            return len(given)

        try:
            count = await off(work)
        except AnsweredMeanwhile:
            return await self._shown(request, serial, 409, "meanwhile")
        except InputError as error:
            return await self._shown(request, serial, 422, told(str(error)))
        kept = Glanced(serial, time_text(now) or "", count, False).query()
        return RedirectResponse(f"/ask?{urlencode({'card': serial, 'glanced': kept})}", 303)

    async def _shown(self, request: Request, serial: str, status: int = 200, notice: str = "") -> Response:
        def work() -> dict[str, object] | None:
            card, played = self.store.card(serial), self.store.round(serial)
            if played is None:
                return None
            layout = self.layout_of(card)
            who = who_of(card, layout, played, self.store.summaries(), self.store.picture)
            return {"card": card, "called": self.called(card), "layout": layout, "who": who}

        found = await off(work)
        if found is None or not found["who"]:
            return RedirectResponse(f"/rounds/{quote(serial)}", 303)
        return self.page(request, "who.html", status, notice=notice, **found)
