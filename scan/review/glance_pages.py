"""Routes of the page of all doubtful cells: shown, kept, left as doubt, taken back, card after card."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import partial
from urllib.parse import quote, urlencode

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from shortpencil.forms.errors import InputError
from shortpencil.scan.language import told
from shortpencil.scan.records.composing.answers import AnsweredMeanwhile
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.recording.record_json import time_from, time_text
from shortpencil.scan.review.asked import form_of, get, off, post, session_of
from shortpencil.scan.review.card_pages import CardPages
from shortpencil.scan.review.glance import Given, given_of, pairs_of
from shortpencil.scan.review.naming import Name

_MOST_FIELDS = 2000  # three a pair; a card has up to 340 fields


@dataclass(frozen=True, slots=True)
class Glanced:
    """One action that was just done, as the next page tells it."""

    serial: str
    at: str
    count: int
    left: bool
    name: Name | None = None  # what the card is called, where that was looked up

    def query(self) -> str:
        """Return it as it travels in an address."""
        return f"{self.serial}~{self.at}~{self.count}~{int(self.left)}"


def glanced_in(request: Request) -> Glanced | None:
    """Return the action that a request's address tells of, or None."""
    parts = request.query_params.get("glanced", "").split("~")
    if len(parts) != 4 or not (parts[2].isascii() and parts[2].isdigit() and len(parts[2]) < 5):
        return None
    try:
        time_from(parts[1])
    except ValueError:
        return None
    return Glanced(parts[0][:64], parts[1], int(parts[2]), parts[3] == "1")


@dataclass(frozen=True, slots=True)
class GlancePages(CardPages):
    """The pages over one store."""

    def routes(self) -> list[Route]:
        """Return what answers which address."""
        return [
            get("/glance", self.stack),
            get("/glance/{serial}", self.card),
            post("/glance/{serial}", self.keep),
            post("/glance/{serial}/undo", self.undo),
            post("/how-to-ask", self.how_to_ask),
        ]

    async def stack(self, request: Request) -> Response:
        """Go to the first card of the stack."""
        cards = await off(self.store.glance_fields)
        if not cards:
            return RedirectResponse("/ask", 303)
        return RedirectResponse(f"/glance/{quote(cards[0][0])}?stack=1", 303)

    async def card(self, request: Request) -> Response:
        """Show a card's pairs."""
        return await self._shown(request, request.path_params["serial"], "stack" in request.query_params)

    async def keep(self, request: Request) -> Response:
        """Keep what was compared, or leave all of it as doubt; then go on."""
        serial = request.path_params["serial"]
        form = await form_of(request, _MOST_FIELDS)
        stack, leave = "stack" in form, form.get("do") == "leave"
        who, now = session_of(request).name, self.now()
        try:
            given, count = await off(partial(self._kept, serial, form, leave, who, now))
        except AnsweredMeanwhile:
            return await self._shown(request, serial, stack, 409, "meanwhile")
        except InputError as error:
            return await self._shown(request, serial, stack, 422, told(str(error)))
        more = {}
        if count:
            more["glanced"] = Glanced(serial, time_text(now) or "", count, leave).query()
        if given.alone:
            return RedirectResponse(
                f"/ask/{quote(serial)}/{quote(given.alone[0])}?{urlencode({'card': serial, **more})}", 303
            )
        if not stack:
            return RedirectResponse(f"/ask?{urlencode({'card': serial, **more})}", 303)
        later = [card for card, _ in await off(self.store.glance_fields)]
        following = next((card for card in later if card > serial), later[0] if later else None)
        if following is None:
            return RedirectResponse(f"/ask?{urlencode(more)}", 303)
        return RedirectResponse(f"/glance/{quote(following)}?{urlencode({'stack': '1', **more})}", 303)

    def _kept(self, serial: str, form: FormData, leave: bool, who: str, now: datetime) -> tuple[Given, int]:
        card = self.store.card(serial)
        fields = [str(name) for name in form.getlist("field")]
        values = [str(form.get(f"value-{name}", "")) for name in fields]
        given = given_of(card.form, fields, values, [str(count) for count in form.getlist("seen")])
        if leave:
            self.store.leave_all(serial, [(look.field, look.seen) for look in given.looks], who, now)
        elif given.looks:
            self.store.look_over(serial, given.looks, who, now)
        return given, len(given.looks)

    async def undo(self, request: Request) -> Response:
        """Take one action back as a whole, and show its card again."""
        serial = request.path_params["serial"]
        form = await form_of(request, 4, 200)
        try:
            at = time_from(str(form.get("at", "")))
        except ValueError:
            at = None
        if at is None:
            raise InputError("expected the time of what is to be taken back, found none.")
        await off(partial(self.store.take_back_all, serial, at, session_of(request).name, self.now()))
        return RedirectResponse(f"/glance/{quote(serial)}", 303)

    async def how_to_ask(self, request: Request) -> Response:
        """Change how much a player is asked."""
        form = await form_of(request, 4, 2000)
        player, how = str(form.get("player", "")) or None, str(form.get("how", ""))
        await off(partial(self.store.ask_in, player, how))
        return RedirectResponse("/ask", 303)

    async def _shown(
        self, request: Request, serial: str, stack: bool, status: int = 200, notice: str = ""
    ) -> Response:
        def work() -> dict[str, object]:
            card = self.store.card(serial)
            layout = self.layout_of(card)
            return {
                "card": card,
                "called": self.called(card),
                "layout": layout,
                "pairs": pairs_of(card, layout),
                "how": self.store.how_to_ask(card.player),
                "cards": [name for name, _ in self.store.glance_fields()],
            }

        found = await off(work)
        pairs, card, cards = found["pairs"], found["card"], found.pop("cards")
        assert isinstance(pairs, tuple)
        assert isinstance(card, Card)
        assert isinstance(cards, list)
        if not pairs:
            kept = request.query_params.get("glanced", "")
            return RedirectResponse(
                f"/ask?{urlencode({'card': serial, **({'glanced': kept} if kept else {})})}", 303
            )
        at = cards.index(serial) if serial in cards else 0
        return self.page(
            request,
            "glance.html",
            status,
            stack=stack,
            notice=notice,
            glanced=glanced_in(request),
            alone=len(card.waiting) - len(pairs),
            number=at + 1,
            of=len(cards) if stack else 1,
            back=f"/glance/{quote(cards[at - 1])}?stack=1" if stack and at > 0 else None,
            next=f"/glance/{quote(cards[at + 1])}?stack=1" if stack and at + 1 < len(cards) else None,
            **found,
        )
