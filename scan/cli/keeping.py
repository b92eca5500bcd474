"""What the page does about everything that is kept, as the commands do it: restore, export, check, forget."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shortpencil.scan.language import _
from shortpencil.scan.review.chores import Before

if TYPE_CHECKING:
    from shortpencil.scan.advice import Advice
    from shortpencil.scan.records.store import Store

#: As `scan.records.backup.set_aside` names what a restore replaced.
_BEFORE = re.compile(r"[\w-]+-before-[0-9]{8}T[0-9]{6}Z(-[0-9]+)?\.zip")


class DeskKeeping:
    """The functions that `scan.review.chores.Keeping` asks for, over one store and one folder of forms."""

    def __init__(self, store: Store, forms: Path) -> None:
        self._store, self._forms = store, forms

    # -- restore -----------------------------------------------------------------------------------------

    def holds_anything(self) -> bool:
        """Say whether the store holds a round or a card, which a restore would replace."""
        return self._store.size() != (0, 0)

    def restore(self, path: Path, *, replace: bool) -> str:
        """Put a backup in place of the store; return what it held, in words."""
        from shortpencil.scan.cli.moving import contents_said
        from shortpencil.scan.records.backup import put_in_place

        made, _kept = put_in_place(path, self._file(), self._forms, datetime.now(UTC), replace=replace)
        when = f"{made.made_at:%Y-%m-%d %H:%M} UTC"
        return _("{contents}, as of {when}", contents=contents_said(made), when=when)

    def before(self) -> Sequence[Before]:
        """Return what earlier restores replaced, the latest first."""
        from shortpencil.forms.errors import InputError
        from shortpencil.scan.cli.moving import contents_said
        from shortpencil.scan.records.backup import check_backup

        found = []
        for path in self._replaced():
            try:
                made = check_backup(path)
            except InputError:  # cut, or somebody else's
                continue
            found.append(Before(path.name, made.made_at, contents_said(made)))
        return sorted(found, key=lambda one: one.at, reverse=True)

    def bring_back(self, name: str) -> str:
        """Put back what a restore replaced, under the name it is kept by; what is there now is kept, too."""
        return self.restore(self._named(name), replace=True)

    def drop_before(self, name: str) -> None:
        """Erase what a restore replaced."""
        self._named(name).unlink(missing_ok=True)

    def _replaced(self) -> list[Path]:
        if "://" in self._store.name:  # a server keeps nothing beside it
            return []
        folder = Path(self._store.name).parent
        return [path for path in folder.glob("*-before-*.zip") if _BEFORE.fullmatch(path.name)]

    def _named(self, name: str) -> Path:
        from shortpencil.forms.errors import InputError

        for path in self._replaced():
            if path.name == name:
                return path
        raise InputError("expected something that a restore replaced, found none of that name.")

    def _file(self) -> Path:
        from shortpencil.forms.errors import RecordError

        if "://" in self._store.name:
            raise RecordError(
                "expected a store in a file, found one on a server. Its own tools take a backup back: see "
                "docs/moving.md."
            )
        return Path(self._store.name)

    # -- export, check -----------------------------------------------------------------------------------

    def export(self, folder: Path) -> Path:
        """Write tables and whole rounds into a folder as one ZIP file; return the file."""
        from shortpencil.scan.records.exchanging.export import write_export

        inside = folder / "rounds"
        write_export(inside, self._store.each_round(), self._store.practice(), self._store.other_sheets())
        whole = folder / f"shortpencil-rounds-{datetime.now(UTC):%Y-%m-%d}.zip"
        # Not strict: the clock of a computer may say 1970, and the time of a file in a ZIP begins in 1980.
        with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED, strict_timestamps=False) as archive:
            for path in sorted(inside.iterdir()):
                archive.write(path, path.name)
        return whole

    def check(self) -> Sequence[str]:
        """Return what is not as it was written, a line each."""
        return [str(damage) for damage in self._store.damages()]

    # -- one player --------------------------------------------------------------------------------------

    def traces(self, player: str) -> str:
        """Return how much is kept of a player, in words; "" where nothing is."""
        from shortpencil.forms.catalog import Catalog
        from shortpencil.scan.cli.hand import traces_said

        found, printed = self._store.traces_of(player), len(Catalog(self._forms).cards_of(player))
        return traces_said(found, printed)

    def forget(self, player: str) -> None:
        """Erase everything that is kept of a player."""
        from shortpencil.scan.unfinished import forget_player

        forget_player(self._store, self._forms, player, self._store.name)

    def change_hand(self, player: str, how: str) -> None:
        """Erase a player's handwriting ("erase"), keep none any more ("off"), or learn it again ("on")."""
        from shortpencil.scan.unfinished import erase_hand

        if how == "on":
            self._store.learn_hand(player)
        else:
            erase_hand(self._store, player, self._store.name, off=how == "off")

    # -- sheets of paper ---------------------------------------------------------------------------------

    def report(self, kind: str, players: Sequence[str | None], paper: str) -> tuple[bytes, Sequence[str]]:
        """Return a PDF with a page for each player, and what to say of those without one.

        Parameters
        ----------
        kind : "evidence" (what to practise and why) or "season" (the year on one sheet)
        """
        from shortpencil.forms.errors import InputError
        from shortpencil.forms.layout import PAPERS
        from shortpencil.forms.pdf import to_pdf
        from shortpencil.scan.advice import Asked, advise, load_drills

        drills, pages, without = load_drills(None), [], []
        for player in players:
            advice = advise(self._store, Asked(player), drills)
            page = advice if isinstance(advice, str) else _page(kind, advice, player, PAPERS[paper])
            if isinstance(page, str):
                without.append(f"{player}: {page}" if player else page)
            else:
                pages.append(page)
        if not pages:
            raise InputError(" ".join(without) or "expected a player, found none.")
        return to_pdf(pages, PAPERS[paper], f"shortpencil: {kind}", gaps=True), without


def _page(kind: str, advice: Advice, player: str | None, paper: Any) -> Any:
    """Return one page as shapes, or why there is none."""
    if kind == "season":
        from shortpencil.scan.practice.season_page import sheet as season_sheet

        season = advice.season(player)
        return season if isinstance(season, str) else season_sheet(season, paper)
    from shortpencil.scan.practice.sheet import sheet

    return sheet(advice.report(player, with_pictures=False), paper)
