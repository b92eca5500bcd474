"""The front door for programs: read a photo, print a card, open a store, get the focus.

What a program may rely on stands here, under these names, and is imported as `shortpencil`. Each function is
a few lines over the rooms that do the work; errors for people are `ShortpencilError` and its children.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shortpencil.forms.errors import InputError, LayoutError, PhotoError, RecordError, ShortpencilError
from shortpencil.forms.shown import whole_letters

if TYPE_CHECKING:
    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.advice import Advice
    from shortpencil.scan.evening import Evening
    from shortpencil.scan.group_advice import GroupAdvice
    from shortpencil.scan.practice.focus import Focus
    from shortpencil.scan.practice.plan import Plan
    from shortpencil.scan.practice.season import Season
    from shortpencil.scan.reading import CardReading
    from shortpencil.scan.records.backup import Contents
    from shortpencil.scan.records.belonging.forgetting import Traces
    from shortpencil.scan.records.belonging.hands import KeptHand
    from shortpencil.scan.records.composing.rounds import Round
    from shortpencil.scan.records.concluding.outcomes import Kept
    from shortpencil.scan.records.listed import Listed
    from shortpencil.scan.records.store import Store
    from shortpencil.scan.records.storing.told import ToldSession

__all__ = [
    "InputError",
    "LayoutError",
    "PhotoError",
    "RecordError",
    "ShortpencilError",
    "advise",
    "advise_group",
    "as_json",
    "backup",
    "evenings",
    "focus",
    "forget",
    "keep",
    "listing",
    "open_store",
    "plan",
    "print_card",
    "read",
    "restore",
    "sample_photos",
]


def read(photo: str | Path, *, field_maps: Iterable[str | Path] = ()) -> tuple[CardReading, ...]:
    """Return what each card in a photo or PDF file says; nothing is stored.

    A photo that shows no readable card gives a reading with the status "rejected" and a reason that says how
    to take it again.

    Parameters
    ----------
    photo : a JPEG, PNG, TIFF, WebP, HEIC, AVIF or PDF file
    field_maps : field maps of cards that were printed on another computer

    Raises
    ------
    InputError
        when the file cannot be opened as a picture

    Examples
    --------
    >>> import shortpencil
    >>> (card,) = shortpencil.read(shortpencil.sample_photos()["plain_good_light.jpg"])
    >>> card.status, card.fields["h01.score"].value
    ('read', 5)
    """
    from shortpencil.scan.intake import read_files

    catalog = _catalog(field_maps)
    (result,) = read_files([Path(photo)], catalog)
    if result.error is not None:
        raise InputError(result.error)
    return result.readings


def keep(
    store: Store, photos: str | Path | Sequence[str | Path], *, field_maps: Iterable[str | Path] = ()
) -> Iterator[Kept]:
    """Read photos into a store, one transaction a card; yield what became of each card.

    A photo that is read twice changes nothing.

    Parameters
    ----------
    store : where to keep what is read
    photos : a file, or several
    field_maps : field maps of cards that were printed on another computer

    Raises
    ------
    InputError
        when a file cannot be opened as a picture
    RecordError
        when a card cannot be stored

    Examples
    --------
    >>> import shortpencil
    >>> with shortpencil.open_store("rounds.sqlite") as store:
    ...     for kept in shortpencil.keep(store, shortpencil.sample_photos()["plain_good_light.jpg"]):
    ...         print(kept.outcome, len(kept.round.holes))
    new 18
    """
    from shortpencil.scan.intake import read_files
    from shortpencil.scan.joining import Keeper, NotKept

    catalog = _catalog(field_maps)
    keeper = Keeper(catalog, store)
    named = [photos] if isinstance(photos, str | Path) else photos
    for result in read_files([Path(photo) for photo in named], catalog):
        if result.error is not None:
            raise InputError(result.error)
        for kept in keeper.keep(result, datetime.now(UTC)):
            if isinstance(kept, NotKept):
                raise RecordError(kept.says)
            yield kept


def print_card(
    file: str | Path,
    form: str = "round18",
    *,
    paper: str = "a4",
    unit: str = "m",
    hand: str = "right",
    player: str = "",
    copies: int = 1,
    evening: str = "",
) -> tuple[str, ...]:
    """Print blank cards to a PDF file; return their serial numbers, a page each.

    Parameters
    ----------
    file : the PDF to write
    form : a built-in form, or the path of a form's TOML file
    paper : "a4" or "letter"
    unit : "m" or "ft"
    hand : "right" or "left"
    player : an alias to print on the cards; also kept as whose they are
    copies : how many cards
    evening : a club evening that the cards are for; `evenings` then says whose came back

    Raises
    ------
    InputError
        when there is no such form, the form's text is wrong, or cards of nobody are for an evening
    LayoutError
        when the form does not fit the paper

    Examples
    --------
    >>> import shortpencil
    >>> serials = shortpencil.print_card("cards.pdf", "short18", player="Wren", copies=2)
    >>> len(serials), len(serials[0])
    (2, 8)
    """
    from shortpencil.forms.catalog import RosterLine
    from shortpencil.forms.files import write_whole
    from shortpencil.forms.form import HANDS, UNITS
    from shortpencil.forms.layout import PAPERS
    from shortpencil.scan.printing import drawn, register

    for name, value, allowed in (("paper", paper, PAPERS), ("unit", unit, UNITS), ("hand", hand, HANDS)):
        if value not in allowed:
            raise InputError(f"{name}: expected {' or '.join(allowed)}, found {value!r}.")
    if copies < 1:
        raise InputError(f"copies: expected 1 or more, found {copies}.")
    if evening and not player:
        raise InputError(f"evening: expected a player with it, found cards of nobody for {evening!r}.")
    line = RosterLine(player, None, copies)
    printed = drawn([line], form=form, paper=paper, unit=unit, hand=hand, course=None, copies=1)
    register(printed, evening)
    write_whole(Path(file), printed.pdf)
    return tuple(str(card["serial"]) for card in printed.cards)


def open_store(place: str | Path | None = None) -> Store:
    """Return the store in a file or at a database URL, made if there is none; close it, or use ``with``.

    Parameters
    ----------
    place : a file, ``sqlite:///FILE`` or ``postgresql://user@host/database``; None: the one that the command
        line uses

    Raises
    ------
    RecordError
        when the file is no store, is damaged, locked or of a newer version

    Examples
    --------
    >>> import shortpencil
    >>> with shortpencil.open_store("empty.sqlite") as store:
    ...     print(len(store.rounds()), len(store.other_sheets()))
    0 0
    """
    from shortpencil.scan.records import store

    return store.open_store(_at(place))


def listing(place: str | Path | None = None, player: str | None = None) -> Listed:
    """Return what a store holds in a line each: rounds, oldest first, and sheets that are no rounds.

    That is what the command `rounds` lists. Where there is no store yet, the list is empty and none is made.

    Parameters
    ----------
    place : as of `open_store`
    player : only what is this player's

    Raises
    ------
    RecordError
        when the file is no store, is damaged, locked or of a newer version

    Examples
    --------
    >>> import shortpencil
    >>> photo = shortpencil.sample_photos()["plain_good_light.jpg"]
    >>> with shortpencil.open_store("listed.sqlite") as store:
    ...     kept = list(shortpencil.keep(store, photo))
    >>> (line,) = shortpencil.listing("listed.sqlite").rounds
    >>> line.played_on.isoformat(), line.score, line.misses
    ('2026-04-12', 60, (('drive', 5), ('approach', 3), ('putt', 9)))
    """
    from shortpencil.scan.records.listed import listed

    return listed(_at(place), player and whole_letters(player))


def evenings(store: Store | None = None) -> tuple[Evening, ...]:
    """Return the club evenings that cards were printed for, the latest first, with what came back of them.

    Parameters
    ----------
    store : what `open_store` returned; None: nothing came back yet

    Examples
    --------
    >>> import shortpencil
    >>> shortpencil.print_card("cards.pdf", player="Wren", evening="Thursday 3") != ()
    True
    >>> (evening,) = shortpencil.evenings()
    >>> evening.name, [(line.player, line.state) for line in evening.lines]
    ('Thursday 3', [('Wren', 'missing')])
    """
    from shortpencil.scan.evening import evenings_of, printed_evenings
    from shortpencil.scan.places import forms_folder

    return evenings_of(store, printed_evenings(forms_folder()))


def forget(store: Store, player: str) -> Traces:
    """Erase all that is kept of a player, bytes and all; return how much that was. Nothing brings it back.

    Erasing that is cut short is finished by the next start of the command line.

    Parameters
    ----------
    store : what `open_store` returned
    player : the alias

    Raises
    ------
    InputError
        when nothing is kept of such a player

    Examples
    --------
    >>> import shortpencil
    >>> serials = shortpencil.print_card("cards.pdf", player="Wren")
    >>> with shortpencil.open_store("forgetting.sqlite") as store:
    ...     shortpencil.forget(store, "Wren").rounds  # and that the card is Wren's
    0
    """
    from shortpencil.scan.places import forms_folder
    from shortpencil.scan.unfinished import forget_player, known_of

    player = whole_letters(player)
    known_of(store, forms_folder(), player)
    return forget_player(store, forms_folder(), player, store.name)


def backup(store: Store, file: str | Path) -> Contents:
    """Write all that is kept, whose the printed cards are too, into one new file; return what it holds.

    Parameters
    ----------
    store : a store in a file; others may use it meanwhile
    file : the ZIP file to make

    Raises
    ------
    InputError
        when there is such a file already, or it cannot be written
    RecordError
        when the store is not sound, or on a server, which has tools of its own

    Examples
    --------
    >>> import shortpencil
    >>> with shortpencil.open_store("kept.sqlite") as store:
    ...     shortpencil.backup(store, "all.zip").rounds
    0
    """
    from shortpencil.scan.places import forms_folder
    from shortpencil.scan.records.backup import write_backup

    return write_backup(Path(file), store, forms_folder(), datetime.now(UTC))


def restore(file: str | Path, place: str | Path, *, replace: bool = False) -> Contents:
    """Put a backup in place of a store in a file; return what it held. What was there is kept beside it.

    Parameters
    ----------
    file : what `backup` wrote
    place : the file of the store
    replace : also where that store holds anything

    Raises
    ------
    InputError
        when the file is no backup, or not whole
    RecordError
        when the store holds anything and `replace` was not said

    Examples
    --------
    >>> import shortpencil
    >>> with shortpencil.open_store("kept.sqlite") as store:
    ...     made = shortpencil.backup(store, "all.zip")
    >>> shortpencil.restore("all.zip", "again.sqlite") == made
    True
    """
    from shortpencil.scan.places import forms_folder
    from shortpencil.scan.records.backup import put_in_place

    made, _kept = put_in_place(Path(file), Path(place), forms_folder(), datetime.now(UTC), replace=replace)
    return made


def focus(rounds: Iterable[Round]) -> Focus | None:
    """Return the one phase to practise and the evidence for it; None where nothing can be named yet.

    Parameters
    ----------
    rounds : of one player, in any order, as from ``store.rounds(player=...)``; of rounds with unlike phases
        those of the game that most recent ones are of

    Examples
    --------
    >>> import shortpencil
    >>> with shortpencil.open_store("empty.sqlite") as store:
    ...     print(shortpencil.focus(store.rounds()))
    None
    """
    from shortpencil.scan.practice.focus import focus_of
    from shortpencil.scan.practice.games import of_one_game
    from shortpencil.scan.practice.history import history_of

    found = of_one_game(rounds)
    return focus_of(history_of(found.rounds), remarks=[found.left_out] if found.left_out else [])


def advise(store: Store, player: str | None = None, *, minutes: int = 30) -> Advice | str:
    """Return all that the command `focus` tells of one player: focus, plan, what next, did it help.

    Where nothing can be named yet, a sentence that says why comes back in its place.

    Parameters
    ----------
    store : what `open_store` returned; its practice cards, sessions and doubtful values count too
    player : the alias; None where the store knows one player at most
    minutes : of the next session

    Raises
    ------
    InputError
        when it is not clear whose rounds are meant, or there are none of that name

    Examples
    --------
    >>> import shortpencil
    >>> photo = shortpencil.sample_photos()["plain_good_light.jpg"]
    >>> with shortpencil.open_store("advised.sqlite") as store:
    ...     kept = list(shortpencil.keep(store, photo))
    ...     advice = shortpencil.advise(store, minutes=30)
    >>> advice.choice.phase in advice.history.phase_ids, advice.plan.minutes
    (True, 30)
    """
    from shortpencil.scan import advice

    return advice.advise(store, advice.Asked(player and whole_letters(player), minutes))


def advise_group(store: Store, *, minutes: int = 30) -> GroupAdvice | None:
    """Return what each player with an alias should practise, as `focus --group`; None where there is nobody.

    ``.page()`` of it is the coach's page as HTML.

    Parameters
    ----------
    store : what `open_store` returned
    minutes : of the next session of each

    Examples
    --------
    >>> import shortpencil
    >>> with shortpencil.open_store("empty.sqlite") as store:
    ...     print(shortpencil.advise_group(store))
    None
    """
    from shortpencil.scan import advice, group_advice

    return group_advice.advise_group(store, advice.Asked(minutes=minutes))


def plan(found: Focus, minutes: int = 30, *, under_16: bool = False, repeat: bool = False) -> Plan:
    """Return a plan for that focus that fits the minutes, cautions included.

    Parameters
    ----------
    found : what `focus` returned
    minutes : how long the session is
    under_16 : fewer throws at full power
    repeat : the player did the test of this phase in an earlier session; it is done again first

    Examples
    --------
    >>> import shortpencil
    >>> photo = shortpencil.sample_photos()["plain_good_light.jpg"]
    >>> with shortpencil.open_store("one.sqlite") as store:
    ...     rounds = [kept.round for kept in shortpencil.keep(store, photo)]
    >>> shortpencil.plan(shortpencil.focus(rounds), 30).minutes
    30
    """
    from shortpencil.scan.advice import load_drills
    from shortpencil.scan.practice.plan import plan_of, target_of

    return plan_of(target_of(found), minutes, load_drills(None), under_16=under_16, repeat=repeat)


def sample_photos() -> dict[str, Path]:
    """Return the photos that come with shortpencil by name; they are simulated.

    Examples
    --------
    >>> import shortpencil
    >>> "plain_good_light.jpg" in shortpencil.sample_photos()
    True
    """
    from shortpencil.scan.places import SAMPLES

    if SAMPLES.is_dir():
        return {path.name: path for path in sorted(SAMPLES.iterdir()) if path.suffix in _PHOTOS}
    raise InputError("The sample photos that come with shortpencil are missing. Install it again.")


def as_json(
    found: CardReading | Kept | Round | Listed | KeptHand | ToldSession | Evening | Advice | Season,
) -> dict[str, Any]:
    """Return the published JSON of what these functions gave: plain types, as the commands print it.

    Parameters
    ----------
    found : a reading or what was kept of it (`read --json`), a round (`export`), a `listing` (`rounds`),
        one of `evenings` (`evening`), a hand of ``store.kept_hands()`` (`hand`), a session of
        ``store.told_sessions()`` (`practised`), what `advise` returned (`focus`), its season (`season`)

    Raises
    ------
    TypeError
        when it is something else

    Examples
    --------
    >>> import shortpencil
    >>> (card,) = shortpencil.read(shortpencil.sample_photos()["plain_good_light.jpg"])
    >>> shortpencil.as_json(card)["fields"]["h01.score"]["value"]
    5
    >>> shortpencil.as_json(shortpencil.listing("empty.sqlite"))
    {'schema': 1, 'rounds': [], 'sheets': []}
    """
    from shortpencil.scan import evening, reading
    from shortpencil.scan.records import as_json, listed
    from shortpencil.scan.records.composing import rounds
    from shortpencil.scan.records.concluding import outcomes

    if isinstance(found, reading.CardReading):
        return as_json.card_json(found)
    if isinstance(found, outcomes.Kept):
        return as_json.card_json(found.reading, found.round)
    if isinstance(found, rounds.Round):
        from shortpencil.scan.records.recording.record_json import round_to_json

        return round_to_json(found)
    if isinstance(found, listed.Listed):
        return as_json.listed_json(found)
    if isinstance(found, evening.Evening):
        return evening.evening_json(found)
    # From here on what is loaded takes time, and is loaded already where there is something of its kind.
    from shortpencil.scan.records.belonging import hands
    from shortpencil.scan.records.storing import told

    if isinstance(found, hands.KeptHand):
        return as_json.hand_json(found)
    if isinstance(found, told.ToldSession):
        return as_json.session_json(found)
    from shortpencil.scan import advice
    from shortpencil.scan.language import ENGLISH, speaking
    from shortpencil.scan.practice.as_json import season_json
    from shortpencil.scan.practice.season import Season

    with speaking(ENGLISH):
        if isinstance(found, advice.Advice):
            return found.as_json()
        if isinstance(found, Season):
            return season_json(found)
    raise TypeError(f"expected what a function of the front door gave, found {type(found).__name__}")


_PHOTOS = (".jpg", ".heic", ".pdf")


def _at(place: str | Path | None) -> str | Path:
    from shortpencil.scan.places import default_store

    at = default_store() if place is None else place
    return at if "://" in str(at) else Path(at)


def _catalog(field_maps: Iterable[str | Path] = ()) -> Catalog:
    from shortpencil.forms.catalog import Catalog
    from shortpencil.forms.field_map import layout_from_json
    from shortpencil.forms.files import read_text
    from shortpencil.forms.shown import path_text
    from shortpencil.scan.places import forms_folder

    catalog = Catalog(forms_folder())
    for path in field_maps:
        catalog.register(layout_from_json(read_text(Path(path)), path_text(path)))
    return catalog
