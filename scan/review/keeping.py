"""Pages about all that is kept: back up, restore with the way back, export, import, check. Routes only.

A restore is the laptop's alone, wants a word typed where it replaces anything, and keeps what it replaced.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from starlette.background import BackgroundTask
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from shortpencil.forms.errors import InputError, RecordError
from shortpencil.scan.language import N_, _, carried, first_upper, told
from shortpencil.scan.review.asked import Page, clean_text, form_of, get, laptop_only, off, post
from shortpencil.scan.review.desk import Desk, chores_of
from shortpencil.scan.review.naming import count_said
from shortpencil.scan.review.wording import without_input

REPLACE, ERASE = "replace", "erase"  # the words to type
_BLOCK_BYTES = 2**20


def routes(desk: Desk, page: Page) -> list[Route]:
    """Return the routes of these pages; `page` renders a template for a request."""
    site = KeepingPages(desk, page)
    return [
        get("/safe", site.safe),
        post("/safe/backup", site.backup),
        post("/safe/export", site.export),
        post("/safe/import", site.take),
        post("/safe/check", site.check),
        post("/safe/restore", site.restore),
        post("/safe/before", site.before),
    ]


class KeepingPages:
    """The pages, over one desk."""

    def __init__(self, desk: Desk, page: Page) -> None:
        self._desk, self._page = desk, page

    async def safe(self, request: Request) -> Response:
        return await self._shown(request)

    async def _shown(
        self, request: Request, status: int = 200, done: str = "", notice: str = "", damage: Any = None
    ) -> Response:
        chores = self._desk.chores
        laptop = request.scope["session"].kind == "laptop"

        def work() -> dict[str, Any]:
            if chores is None:
                return {"able": False, "full": False, "before": ()}
            return {
                "able": True,
                "full": chores.holds_anything(),
                "before": chores.before() if laptop else (),
            }

        return self._page(
            request,
            "safe.html",
            status,
            done=done,
            notice=notice,
            damage=damage,
            laptop=laptop,
            replace=REPLACE,
            erase=ERASE,
            **await off(work),
        )

    async def backup(self, request: Request) -> Response:
        await form_of(request)
        return await self._file(chores_of(self._desk).backup)

    async def export(self, request: Request) -> Response:
        await form_of(request)
        return await self._file(chores_of(self._desk).export)

    async def _file(self, make: Callable[[Path], Path]) -> Response:
        """Send a file that is made in a folder of its own, and take the folder away."""
        folder = Path(tempfile.mkdtemp(prefix="shortpencil-backup-"))
        try:
            path = await off(lambda: make(folder))
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        away = BackgroundTask(shutil.rmtree, folder, ignore_errors=True)
        return FileResponse(path, media_type="application/zip", filename=path.name, background=away)

    async def check(self, request: Request) -> Response:
        await form_of(request)
        chores = chores_of(self._desk)
        found = await off(chores.check)
        done = "" if found else _("All is as it was written")
        return await self._shown(request, done=done, damage=found)

    async def take(self, request: Request) -> Response:
        chores, by = chores_of(self._desk), request.scope["session"].name

        def work(path: Path, texts: dict[str, str]) -> str:
            dry = texts["try"] == "yes"
            became = chores.take(path, by, dry_run=dry)
            kinds = list(became.values())
            said = ", ".join(f"{kinds.count(kind)} {told(kind)}" for kind in dict.fromkeys(kinds))
            line = f"{count_said(len(became), 'round')}{': ' if said else ''}{said}"
            return _("{line}, but that was only tried", line=line) if dry else line

        return await self._taken(request, "rounds.json", ("try",), work, N_("a file of rounds"))

    async def restore(self, request: Request) -> Response:
        laptop_only(request, carried("A backup is taken back on the laptop's page."))
        chores = chores_of(self._desk)

        def work(path: Path, texts: dict[str, str]) -> str:
            full = chores.holds_anything()
            if full and texts["word"].casefold() != REPLACE:
                raise InputError(
                    f"expected the word {REPLACE} typed, found something else. Nothing was changed."
                )
            held = chores.restore(path, replace=full)
            if full:
                return _(
                    "Taken back: {held}. What was here before is kept, and can be brought back below",
                    held=held,
                )
            return _("Taken back: {held}", held=held)

        return await self._taken(request, "backup.zip", ("word",), work, N_("a backup"))

    async def _taken(
        self,
        request: Request,
        name: str,
        keys: tuple[str, ...],
        work: Callable[[Path, dict[str, str]], str],
        what: str,
    ) -> Response:
        """Do something with a file that a form sends; whatever it is called, it lies here as `name`."""
        async with request.form(max_files=1, max_fields=4, max_part_size=4096) as form:
            given, texts = form.get("file"), {key: clean_text(form, key) for key in keys}
            if not isinstance(given, UploadFile) or not given.size:
                raise InputError(f"expected {what}, found none. Choose one, then send it.")
            folder = Path(tempfile.mkdtemp(prefix="shortpencil-import-"))
            path = folder / name
            try:
                with path.open("xb") as out:
                    while block := await given.read(_BLOCK_BYTES):
                        out.write(block)
                done = await off(lambda: work(path, texts))
            except (InputError, RecordError) as error:
                return await self._shown(request, 422, notice=self._said(error, path))
            finally:
                shutil.rmtree(folder, ignore_errors=True)
        return await self._shown(request, done=done)

    async def before(self, request: Request) -> Response:
        """Bring back what a restore replaced, or erase it."""
        laptop_only(request, carried("What was replaced is brought back on the laptop's page."))
        chores, form = chores_of(self._desk), await form_of(request)
        name, how = clean_text(form, "name"), clean_text(form, "do")

        def work() -> str:
            if how == "back":
                back = chores.bring_back(name)
                return _("Brought back: {held}. What was here meanwhile is kept, too", held=back)
            if clean_text(form, "word").casefold() != ERASE:
                raise InputError(
                    f"expected the word {ERASE} typed to be sure, found something else. Nothing was erased."
                )
            chores.drop_before(name)
            return _("Erased")

        try:
            done = await off(work)
        except (InputError, RecordError) as error:
            return await self._shown(request, 422, notice=self._said(error))
        return await self._shown(request, done=done)

    def _said(self, error: Exception, path: Path | None = None) -> str:
        """Return an error as the page says it: no path of this machine in it."""
        says = str(error).removeprefix(f"{self._desk.store.name}: ")
        if path is None:
            return without_input(says)
        return first_upper(told(says).replace(str(path), _("The file")))
