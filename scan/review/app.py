"""Routes only: which page answers which address, and which function does the work.

GET changes nothing. Every POST is one transaction of the store, then the address of what to see next.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Collection
from contextlib import asynccontextmanager
from dataclasses import replace
from functools import partial
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, urlencode

from markupsafe import Markup
from starlette.applications import Starlette
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from shortpencil.forms.errors import InputError, NotThere, RecordError
from shortpencil.forms.layout import Layout
from shortpencil.forms.serials import typed_code
from shortpencil.scan.joining import Keeper
from shortpencil.scan.language import LANGUAGES, _, told
from shortpencil.scan.reading import CARD_PICTURE
from shortpencil.scan.records.composing.answers import AnsweredMeanwhile
from shortpencil.scan.records.composing.card_values import DATE_FIELDS
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.review import about, doing, keeping, pages, year
from shortpencil.scan.review.asked import form_of, get, off, post, session_of, text_of
from shortpencil.scan.review.desk import Desk
from shortpencil.scan.review.doing import MOST_MINUTES
from shortpencil.scan.review.door import PHONE_LINK_S
from shortpencil.scan.review.glance_pages import GlancePages, glanced_in
from shortpencil.scan.review.guard import App, Guard
from shortpencil.scan.review.links import qr_svg
from shortpencil.scan.review.questions import Question, next_after, parsed, question_of
from shortpencil.scan.review.readers import AT_ONCE
from shortpencil.scan.review.receiving import Receiver, Told
from shortpencil.scan.review.rendering import Pages, static_files
from shortpencil.scan.review.shelf import name_of, round_name
from shortpencil.scan.review.views import close_up, surroundings
from shortpencil.scan.review.who import DATE
from shortpencil.scan.review.who_pages import WhoPages
from shortpencil.scan.review.wording import without_input

MOST_PHOTOS = 12  # at once; a batch is `shortpencil read`
MOST_TOLD = 3  # of how many cards what their round says is told at once: each takes half a second
LONGEST_NAME = 60


def make_app(desk: Desk) -> App:
    """Return the application behind its guard."""
    site = _Site(desk)

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        await off(desk.readers.warm_up)
        yield
        desk.readers.close()

    inner = Starlette(
        routes=[
            *year.routes(desk, site.page),
            *doing.routes(desk, site.page),
            *keeping.routes(desk, site.page),
            *about.routes(desk, site.page),
            get("/enter", site.way_in),
            post("/enter", site.enter),
            get("/ask", site.ask_next),
            get("/ask/{serial}/{field}", site.ask),
            post("/ask/{serial}/{field}", site.answer),
            post("/undo/{serial}/{field}", site.undo),
            post("/leave/{serial}/{field}", site.leave),
            get("/card/{serial}", site.card),
            get("/picture/{serial}", site.card_picture),
            get("/picture/{serial}/{field}", site.field_picture),
            get("/capture", site.capture),
            post("/capture", site.receive),
            get("/rounds/{serial}/answer", site.file_round),
            post("/rounds/{serial}/answer", site.answer_file_round),
            post("/rounds/{serial}/out", site.take_out),
            post("/rounds/{serial}/back", site.put_back),
            get("/focus", site.focus),
            get("/phone", site.phone),
            post("/phone", site.new_link),
            post("/phone/out", site.sign_out),
            post("/name", site.rename),
            post("/language", site.speak),
            get("/static/{name}", site.static),
            *site.glance.routes(),
            *site.who.routes(),
        ],
        exception_handlers={
            HTTPException: site.http_error,
            InputError: site.input_error,
            RecordError: site.record_error,
        },
        lifespan=lifespan,
    )
    return Guard(
        inner,
        desk.door,
        hosts=desk.hosts,
        cookie=desk.cookie,
        clock=desk.clock,
        limits=desk.limits,
        refuse=site.refusal,
        lines=desk.lines,
        called=desk.store.phases_called,
    )


class _Site:
    """The pages, over one desk."""

    def __init__(self, desk: Desk) -> None:
        self._desk, self._pages, self._static = desk, Pages(), static_files()
        keeper = Keeper(desk.catalog, desk.store, with_pictures=False, card_pictures=desk.card_pictures)
        self._receiver = Receiver(
            desk.store, keeper, desk.readers, self._layout, desk.plain_hands, desk.worth
        )
        self.who = WhoPages(desk.store, self._layout, self.page, desk.now)
        self.glance = GlancePages(desk.store, self._layout, self.page, desk.now)
        # Photos queue here and not in the threads, which answer everybody else meanwhile.
        self._reading = asyncio.Semaphore(AT_ONCE)

    # -- coming in ---------------------------------------------------------------------------------------

    async def way_in(self, request: Request) -> Response:
        """Show the button that uses a one-time link up: a page fetched ahead by some program must not."""
        return self.page(request, "enter.html", secret=request.query_params.get("secret", "")[:200])

    async def enter(self, request: Request) -> Response:
        form = await form_of(request)
        cookie = self._desk.door.enter(text_of(form, "secret"), self._desk.clock())
        if cookie is None:
            says = _(
                "This link was used before or is too old: each lets one browser in once. Make a new one on "
                "the laptop's page, under Phone, or start shortpencil review again."
            )
            return self.page(request, "refused.html", 403, title=_("This link is used up"), says=says)
        response = RedirectResponse("/", 303)
        # Not "secure": a phone on the local network has no certificate to trust.
        response.set_cookie(self._desk.cookie, cookie, httponly=True, samesite="strict", path="/")
        return response

    # -- questions ---------------------------------------------------------------------------------------

    async def ask_next(self, request: Request) -> Response:
        serial = request.query_params.get("card", "")
        waiting = await self._alone(serial)
        place = next_after(waiting)
        if place is None:
            together = await off(self._desk.store.glance_fields)
            if card := next((card for card, _ in together if serial in ("", card)), None):
                kept = {
                    key: request.query_params[key] for key in ("glanced",) if request.query_params.get(key)
                }
                more = urlencode(kept if serial else {"stack": "1", **kept})
                return RedirectResponse(f"/glance/{quote(card)}" + (f"?{more}" if more else ""), 303)
            for round_id, _ in await off(self._desk.store.waiting_in_files):
                if serial in ("", round_id):
                    return RedirectResponse(f"/rounds/{quote(round_id)}/answer", 303)
            lacks = await off(partial(self.who.needs, serial)) if serial else ()
            elsewhere = await self._waiting("") if serial else ()
            done = await self._done(request)
            empty = not serial and not await off(self._desk.store.heads)
            empty = empty and not await off(self._desk.store.summaries)
            return self.page(
                request,
                "clear.html",
                serial=serial,
                elsewhere=_count(elsewhere),
                done=done,
                lacks=lacks,
                **await off(partial(self._cleared, serial)),
                empty=empty,
            )
        return RedirectResponse(_ask_url(*place, request.query_params), 303)

    def _cleared(self, serial: str) -> dict[str, Any]:
        """Return what a card is called of which nothing is asked any more, and whose session is next."""
        try:
            card = self._desk.store.card(serial) if serial else None
        except RecordError:  # a round from a file
            return {"called": round_name(self._desk.store, serial), "practised": None}
        if card is None:
            return {"called": None, "practised": None}
        called = name_of(self._desk.store, card)
        practised = card.form.record == "practice"
        return {
            "called": called,
            "practised": (called.player if "player" in called.known else "") if practised else None,
        }

    async def ask(self, request: Request) -> Response:
        serial, name = request.path_params["serial"], request.path_params["field"]
        return await self._question(request, serial, name)

    async def answer(self, request: Request) -> Response:
        serial, name = request.path_params["serial"], request.path_params["field"]
        form = await form_of(request)
        texts = [str(text) for text in form.getlist("value")]
        session = session_of(request)
        store, now = self._desk.store, self._desk.now()

        def work() -> None:
            value = parsed(store.card(serial).form, name, texts)
            store.answer(serial, name, value, session.name, now, seen=_seen(form))

        return await self._change(request, serial, name, form, work)

    async def undo(self, request: Request) -> Response:
        serial, name = request.path_params["serial"], request.path_params["field"]
        form = await form_of(request)
        session = session_of(request)
        store, now = self._desk.store, self._desk.now()
        work = partial(store.take_back, serial, name, session.name, now, seen=_seen(form))
        return await self._change(request, serial, name, form, work, stay=True)

    async def leave(self, request: Request) -> Response:
        serial, name = request.path_params["serial"], request.path_params["field"]
        form = await form_of(request)
        session = session_of(request)
        store, now = self._desk.store, self._desk.now()
        work = partial(store.leave, serial, name, session.name, now, seen=_seen(form))
        return await self._change(request, serial, name, form, work)

    async def _change(
        self,
        request: Request,
        serial: str,
        name: str,
        form: FormData,
        work: Callable[[], object],
        stay: bool = False,
    ) -> Response:
        """Do the work, then go to what comes next; show what changed when somebody else was first."""
        try:
            await off(work)
        except AnsweredMeanwhile:
            return await self._question(request, serial, name, 409, notice="meanwhile")
        except InputError as error:
            known = await off(lambda: self._desk.store.card(serial).form)
            says = without_input(str(error), known, (serial, name))
            return await self._question(request, serial, name, 422, notice=says)
        then = text_of(form, "then")
        if then == "card":
            return RedirectResponse(f"/card/{quote(serial)}?at={quote(name)}", 303)
        only = serial if then == "only" else ""
        more = {"card": only} if only else {}
        if stay:
            return RedirectResponse(_ask_url(serial, name, more), 303)
        more["done"] = f"{serial}/{name}"
        place = next_after(await self._alone(only), serial, name)
        if place is None:
            return RedirectResponse(f"/ask?{urlencode(more)}", 303)
        return RedirectResponse(_ask_url(*place, more), 303)

    async def _question(
        self, request: Request, serial: str, name: str, status: int = 200, notice: str = ""
    ) -> Response:
        only = request.query_params.get("card", "")
        card, layout, question = await off(lambda: self._asked(serial, name))
        found = card.fields.get(name)
        whole_date = name in DATE_FIELDS and name in card.waiting and found is not None and found.flag is None
        if status == 200 and whole_date and DATE in await off(lambda: self.who.needs(serial)):
            return RedirectResponse(
                f"/who/{quote(serial)}", 303
            )  # its parts are read, and are no day together
        waiting = await self._alone(only)
        worth = (await off(partial(self._desk.worth, serial))).get(name)
        places = [(card_, field_) for card_, fields in waiting for field_ in fields]
        return self.page(
            request,
            "question.html",
            status,
            q=question,
            card=card,
            called=await off(partial(name_of, self._desk.store, card)),
            layout=layout,
            close=close_up(layout, card.form.field(name)),
            row=surroundings(layout, card.form.field(name)),
            only=only,
            number=places.index((serial, name)) + 1 if (serial, name) in places else None,
            count=len(places),
            next=_url_or_none(next_after(waiting, serial, name), only),
            back=_url_or_none(next_after(waiting, serial, name, back=True), only),
            notice=notice,
            worth=worth,
            done=await self._done(request),
        )

    def _asked(self, serial: str, name: str) -> tuple[Card, Layout, Question]:
        card = self._desk.store.card(serial)
        return card, self._layout(card), question_of(card, name)

    async def _done(self, request: Request) -> Question | None:
        """Return the question answered just before, to show what was kept and to offer undo."""
        serial, _, name = request.query_params.get("done", "").partition("/")
        if not serial or not name:
            return None
        try:
            question = await off(lambda: question_of(self._desk.store.card(serial), name, with_choices=False))
        except (RecordError, InputError):
            return None
        return question if question.undoable else None

    async def _waiting(self, serial: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
        found = await off(self._desk.store.waiting_fields)
        return tuple(line for line in found if serial in ("", line[0]))

    async def _alone(self, serial: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return what is asked one by one: what waits, but for what is seen together."""
        together = dict(await off(self._desk.store.glance_fields))
        listed = ((card, set(together.get(card, ())), names) for card, names in await self._waiting(serial))
        kept = ((card, tuple(name for name in names if name not in out)) for card, out, names in listed)
        found = tuple(line for line in kept if line[1])
        if len(found) != 1 and not serial:  # over a whole stack, card by card in the order of the form
            return found
        return tuple([(card, await off(partial(self._by_worth, card, names))) for card, names in found])

    def _by_worth(self, serial: str, names: tuple[str, ...]) -> tuple[str, ...]:
        """Return fields in the order of what an answer is worth; what must be looked at comes first."""
        worth = self._desk.worth(serial)
        return tuple(sorted(names, key=lambda name: -worth[name].total if name in worth else -1e9))

    def _layout(self, card: Card) -> Layout:
        layout = self._desk.layout(card.reading.form or card.form.name)
        if layout is None:
            raise NotThere(f"expected the field map of card {card.serial}, found none.")
        return layout

    # -- cards -------------------------------------------------------------------------------------------

    async def card(self, request: Request) -> Response:
        serial = request.path_params["serial"]
        at = request.query_params.get("at", "")
        zoom = request.query_params.get("zoom", "1")
        marks = request.query_params.get("marks", "on") != "off"

        def work() -> dict[str, Any]:
            card = self._desk.store.card(serial)
            layout = self._layout(card)
            asked = question_of(card, at) if at else None
            return {
                "card": card,
                "layout": layout,
                "q": asked,
                "close": close_up(layout, card.form.field(at)) if at else None,
                **self._desk.copies(serial),
                "name": name_of(self._desk.store, card),
                **pages.card_table(card, layout),
            }

        found = await off(work)
        zoom = zoom if zoom in ("1", "2", "3") else "1"
        return self.page(request, "card.html", at=at, zoom=zoom, marks=marks, notice="", **found)

    async def card_picture(self, request: Request) -> Response:
        return await self._picture(request.path_params["serial"], CARD_PICTURE)

    async def field_picture(self, request: Request) -> Response:
        return await self._picture(request.path_params["serial"], request.path_params["field"])

    async def _picture(self, serial: str, name: str) -> Response:
        data = await off(lambda: self._desk.store.picture(serial, name))
        if data is None:
            raise HTTPException(404, "There is no such picture.")
        kind = "image/jpeg" if name == CARD_PICTURE else "image/png"
        # A better photo may replace it: kept by the browser for a while only, and never by anybody between.
        return Response(data, media_type=kind, headers={"cache-control": "private, max-age=300"})

    # -- photos ------------------------------------------------------------------------------------------

    async def capture(self, request: Request) -> Response:
        return self.page(request, "capture.html", results=None, most=MOST_PHOTOS)

    async def receive(self, request: Request) -> Response:
        async with request.form(max_files=MOST_PHOTOS, max_fields=4, max_part_size=4096) as form:
            photos = [
                part
                for name in ("photos", "photo")
                for part in form.getlist(name)
                if isinstance(part, UploadFile) and (part.size or part.filename)
            ]
            if not photos:
                raise InputError("expected a photo, found none. Take or choose one, then send it.")
            typed = typed_code(text_of(form, "card")) if text_of(form, "card").strip() else None
            if typed is not None and len(photos) > 1:
                raise InputError("expected one photo with the number of its card, found more. Send it alone.")
            results: list[Told] = []
            receive = self._receiver.receive
            for number, photo in enumerate(photos, start=1):
                called = _("Photo {number}", number=number) if len(photos) > 1 else _("The photo")
                async with self._reading:
                    results += await off(partial(receive, photo.file, called, self._desk.now(), typed))
        first = [one.serial for one in results if one.serial][:MOST_TOLD]
        who = {serial: await off(partial(self.who.needs, serial)) for serial in first}
        after = {serial: await off(partial(self._desk.after, serial)) for serial in first}
        cards = [one.card for one in results if one.card is not None]
        names = await off(lambda: {card.serial: name_of(self._desk.store, card) for card in cards})
        return self.page(
            request, "capture.html", results=results, most=MOST_PHOTOS, after=after, who=who, names=names
        )

    # -- rounds and focus --------------------------------------------------------------------------------

    async def take_out(self, request: Request) -> Response:
        form = await form_of(request)
        how = text_of(form, "how")
        if how not in ("delete", "aside"):
            raise InputError("expected to be told whether to delete the round or to set it aside.")
        serial, now = request.path_params["serial"], self._desk.now()
        await off(partial(self._desk.store.set_aside, serial, now, kept=how == "aside"))
        return RedirectResponse("/rounds", 303)

    async def put_back(self, request: Request) -> Response:
        await form_of(request)
        await off(partial(self._desk.store.put_back, request.path_params["serial"]))
        return RedirectResponse("/rounds", 303)

    async def file_round(self, request: Request) -> Response:
        return await self._file_round(request, request.path_params["serial"])

    async def _file_round(
        self, request: Request, serial: str, status: int = 200, notice: str = ""
    ) -> Response:
        """Show what waits in a round that came from a file; there is no card to look at."""
        found = await off(lambda: self._desk.store.round(serial))
        if found is None:
            raise HTTPException(404, "There is no such round.")
        waiting = dict(await off(self._desk.store.waiting_in_files))
        more = [round_id for round_id in waiting if round_id != serial]
        name = await off(lambda: round_name(self._desk.store, serial))
        places = waiting.get(serial, ())
        return self.page(
            request,
            "from_file.html",
            status,
            r=found,
            name=name,
            score=pages.round_score(found),
            places=places,
            more=more,
            notice=notice,
        )

    async def answer_file_round(self, request: Request) -> Response:
        serial = request.path_params["serial"]
        form = await form_of(request)
        session, now = session_of(request), self._desk.now()
        place, text = text_of(form, "place"), text_of(form, "value")
        try:
            await off(lambda: self._desk.store.answer_in_file(serial, place, text, session.name, now))
        except InputError as error:
            return await self._file_round(request, serial, 422, without_input(str(error), given=(text,)))
        return RedirectResponse(f"/rounds/{quote(serial)}/answer", 303)

    async def focus(self, request: Request) -> Response:
        text = request.query_params.get("minutes", "30")
        minutes = int(text) if text.isascii() and text.isdigit() and len(text) <= 3 else 30
        minutes = min(max(minutes, 10), MOST_MINUTES)
        player = request.query_params.get("player") or None
        summaries = await off(self._desk.store.summaries)
        players = sorted({line.player for line in summaries if line.player})
        if player is None and len(players) > 1:
            player = players[0]
        view = await off(lambda: self._desk.focus(player, minutes))
        return self.page(
            request,
            "focus.html",
            view=view,
            minutes=minutes,
            player=player or "",
            players=players,
            any_rounds=bool(summaries),
        )

    # -- phone and name ----------------------------------------------------------------------------------

    async def phone(self, request: Request) -> Response:
        return self._phone_page(request, None)

    def _phone_page(self, request: Request, link: str | None) -> Response:
        """Show how a phone comes in, and to the laptop who is in."""
        inside = self._desk.door.inside(self._desk.clock()) if session_of(request).kind == "laptop" else ()
        return self.page(
            request,
            "phone.html",
            address=self._desk.phone_address(),
            link=link,
            qr=None if link is None else Markup(qr_svg(link)),
            inside=inside,
        )

    async def sign_out(self, request: Request) -> Response:
        """End a session: any from the laptop's page, from a phone its own."""
        form = await form_of(request)
        session, text = session_of(request), text_of(form, "number")
        number = int(text) if text.isascii() and text.isdigit() and len(text) < 10 else session.number
        if session.kind != "laptop" and number != session.number:
            raise HTTPException(403, "Another browser is signed out on the laptop's page.")
        self._desk.door.sign_out(number)
        if number == session.number:
            request.scope["session"] = None
            says = _("This browser is signed out. A new one-time link lets it in again.")
            return self.page(request, "refused.html", title=_("Signed out"), says=says)
        return RedirectResponse("/phone", 303)

    async def new_link(self, request: Request) -> Response:
        address = self._desk.phone_address()
        if address is None:
            raise HTTPException(403, "Only this machine is served. Start with: shortpencil review --lan")
        if session_of(request).kind != "laptop":
            raise HTTPException(403, "A link for another phone is made on the laptop's page.")
        secret = self._desk.door.link(self._desk.clock(), PHONE_LINK_S, "phone")
        return self._phone_page(request, f"{address}/enter?secret={secret}")

    async def rename(self, request: Request) -> Response:
        form = await form_of(request)
        name = "".join(sign for sign in text_of(form, "name") if sign.isprintable()).strip()[:LONGEST_NAME]
        if not name:
            raise InputError("expected a name to sign your answers with, found none.")
        self._desk.door.rename(request.scope["session_cookie"], name)
        return RedirectResponse("/", 303)

    async def speak(self, request: Request) -> Response:
        """Show this browser its pages in the language that it chose."""
        form = await form_of(request)
        language, back = text_of(form, "language"), text_of(form, "back")
        if language not in LANGUAGES:
            raise InputError(f"expected a language: {', '.join(LANGUAGES)}.")
        self._desk.door.speak(request.scope["session_cookie"], language)
        own = back.startswith("/") and not back.startswith(("//", "/\\"))
        return RedirectResponse(back if own else "/", 303)

    # -- the rest ----------------------------------------------------------------------------------------

    async def static(self, request: Request) -> Response:
        found = self._static.get(request.path_params["name"])
        if found is None:
            raise HTTPException(404, "There is no such file.")
        data, kind = found
        return Response(data, media_type=kind, headers={"cache-control": "private, max-age=3600"})

    async def http_error(self, request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        ours = " " in error.detail and error.detail != HTTPStatus(error.status_code).phrase
        says = told(error.detail) if ours else _("There is no such page.")
        return self.page(request, "refused.html", error.status_code, title=_("Not here"), says=says)

    async def input_error(self, request: Request, error: Exception) -> Response:
        says = without_input(str(error), given=_of_address(request))
        return self.page(request, "refused.html", 422, title=_("That did not fit"), says=says)

    async def record_error(self, request: Request, error: Exception) -> Response:
        status = 404 if isinstance(error, NotThere) else 409
        says = without_input(
            str(error).removeprefix(f"{self._desk.store.name}: "), given=_of_address(request)
        )
        return self.page(request, "refused.html", status, title=_("The store says no"), says=says)

    def refusal(self, status: int, says: str) -> tuple[str, bytes]:
        """Return the page of a request that the guard refuses."""
        page = self._pages.render(
            "refused.html",
            title=_("Not from here"),
            says=told(says),
            session=None,
            waits=0,
            path="",
            this_page="/",
            lan=False,
        )
        return "text/html; charset=utf-8", page.encode()

    def page(self, request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
        self._desk.last_request_s = self._desk.clock()
        glanced = values.get("glanced", glanced_in(request))
        if glanced is not None:  # a few columns of a few rows: less than the thread would cost
            glanced = replace(glanced, name=round_name(self._desk.store, glanced.serial))
        text = self._pages.render(
            template,
            session=request.scope.get("session"),
            path=request.url.path,
            this_page=_this_page(request),
            lan=self._desk.phone_address() is not None,
            **{**values, "glanced": glanced},
        )
        return HTMLResponse(text, status)


def _this_page(request: Request) -> str:
    """Return the address that shows this page once more, the first page where only a form leads to it."""
    if request.method != "GET":
        return "/"
    return request.url.path + (f"?{request.url.query}" if request.url.query else "")


def _of_address(request: Request) -> tuple[str, ...]:
    """Return every text that somebody wrote into the address."""
    return (*map(str, request.path_params.values()), *request.query_params.values())


def _seen(form: FormData) -> int:
    """Return how many entries the field had when the page was made.

    Raises
    ------
    InputError
        when the page does not say so: then nobody knows what the person had looked at
    """
    text = text_of(form, "seen")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise InputError(
            "expected the count of entries that the page was made with, found none. Load it again."
        )
    return int(text)


def _ask_url(serial: str, name: str, query: Any) -> str:
    kept = {key: query[key] for key in ("card", "done", "glanced") if query.get(key)}
    return f"/ask/{quote(serial)}/{quote(name)}" + (f"?{urlencode(kept)}" if kept else "")


def _url_or_none(place: tuple[str, str] | None, only: str) -> str | None:
    return None if place is None else _ask_url(*place, {"card": only})


def _count(waiting: Collection[tuple[str, tuple[str, ...]]]) -> int:
    return sum(len(fields) for _, fields in waiting)
