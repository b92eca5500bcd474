"""Finds forms, course layouts and printed editions by name, file or fingerprint.

A printed edition never changes. What `print` makes is registered by its fingerprint in a folder of field
maps, so that a card is read years later by the map it was printed with; the built-in cards are known by their
fingerprints without any registration. Built-in cards of earlier editions lie beside the forms, packed.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from shortpencil.forms.errors import InputError
from shortpencil.forms.field_map import fingerprint, layout_from_json, layout_to_json
from shortpencil.forms.files import parsed_json, parsed_toml, read_text, write_whole
from shortpencil.forms.form import Course, CourseHole, Form, form_from_toml
from shortpencil.forms.layout import PAPERS, Layout, arrange
from shortpencil.forms.private import private_folder
from shortpencil.forms.serials import is_serial
from shortpencil.forms.shown import (
    LONGEST_FOUND,
    composed,
    found,
    is_text,
    one_line,
    path_text,
    whole_letters,
)
from shortpencil.forms.units import to_metres
from shortpencil.scan.language import carried, spoken

BUILTIN = "shortpencil.forms.builtin"


def builtin_names() -> tuple[str, ...]:
    """Return the names of the built-in forms."""
    names = (entry.name for entry in files(BUILTIN).iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def round_card(holes: int = 18) -> str:
    """Return the name of the built-in round card of so many holes, in the language spoken where there is one.

    The ids of a card's fields are the same in every language, so that records mean the same.
    """
    name = f"round{holes}" if holes in (9, 18, 27) else "round18"
    translated = f"{name}-{spoken()}"
    return translated if translated in builtin_names() else name


def load_form(name: str, *, unit: str = "m", hand: str = "right", course: Course | None = None) -> Form:
    """Return the built-in form of that name, or the form in the TOML file of that path."""
    if name in builtin_names():
        text = files(BUILTIN).joinpath(f"{name}.toml").read_text("utf-8")
        return form_from_toml(text, source=name, unit=unit, hand=hand, course=course)
    path = Path(name)
    if path.suffix != ".toml":
        raise InputError(
            f"{path_text(name)}: there is no form of that name. Built in are {', '.join(builtin_names())}; "
            "a form of your own is the path of a .toml file."
        )
    return form_from_toml(read_text(path), source=path_text(path), unit=unit, hand=hand, course=course)


def load_course(path: Path, unit: str) -> Course:
    """Return the course layout in a TOML file; `unit` is that of its lengths unless the file names one.

    The file: ``name``, ``layout``, ``unit`` ("m" or "ft") and a table ``[[holes]]`` each with ``number``,
    ``par``, ``length``.
    """
    source = path_text(path)
    data = parsed_toml(read_text(path), source, "a course layout")
    unit = data.get("unit", unit)
    if unit not in ("m", "ft"):
        raise InputError(f'{source}: expected unit "m" or "ft", found {found(unit)}.')
    tables, name, layout = data.get("holes"), data.get("name"), data.get("layout", "")
    if not isinstance(tables, list) or not tables or not isinstance(name, str) or not isinstance(layout, str):
        raise InputError(
            f"{source}: expected a name, the layout's name and a table [[holes]] for each hole, found "
            f"{', '.join(sorted(map(found, data))[:8]) or 'nothing'}."
        )
    holes = tuple(_hole(item, i, unit, source) for i, item in enumerate(tables, start=1))
    numbers = [hole.number for hole in holes]
    if len(set(numbers)) != len(numbers):
        raise InputError(f"{source}: each hole needs a number of its own, found {found(numbers)}.")
    return Course(composed(name), composed(layout), holes)


def _hole(item: Any, place: int, unit: str, source: str) -> CourseHole:
    where = f"{source}: hole {place}"
    if not isinstance(item, dict):
        raise InputError(f"{where}: expected a table [[holes]], found {found(item)}.")
    number, par, length = item.get("number", place), item.get("par"), item.get("length")
    if not _is_whole(number, 1, 60):
        raise InputError(f"{where}: expected a number from 1 to 60, found {found(number)}.")
    if par is not None and not _is_whole(par, 2, 6):
        raise InputError(f"{where}: expected a par from 2 to 6, found {found(par)}.")
    if length is None:
        return CourseHole(number, par)
    if not isinstance(length, int | float) or isinstance(length, bool) or not 0 < length < 2000:
        raise InputError(f"{where}: expected a length in {unit}, found {found(length)}.")
    return CourseHole(number, par, round(to_metres(length, unit), 2), f"{length:g} {unit}")


def _is_whole(value: Any, low: int, high: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


@dataclass(frozen=True, slots=True)
class RosterLine:
    """One player of a roster: an alias, and what differs from the other options of the printing."""

    player: str
    hand: str | None
    copies: int


def load_roster(path: Path) -> tuple[RosterLine, ...]:
    """Return the players of a CSV file with a column ``player`` and, if wanted, ``hand`` and ``copies``.

    Its columns stand between commas, or between semicolons or tabs, as spreadsheets write where a comma parts
    a number's decimals. Lines without a word in them, which they leave at the end, are passed over.

    Raises
    ------
    InputError
        when it is no such file, names nobody, or names somebody twice
    """
    import csv
    import io

    name = path_text(path)
    text = read_text(path).lstrip("\ufeff")
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=_between(text.partition("\n")[0]))
        columns = [column.strip().casefold() for column in next(rows, [])]
        if "player" not in columns:
            here = ", ".join(one_line(column) for column in columns)
            here = carried(f"the columns {here[:LONGEST_FOUND]}") if here else carried("no columns")
            raise InputError(f"{name}: expected a CSV file with a column 'player', found {here}.")
        lines = tuple(
            _roster_line(dict(zip(columns, row, strict=False)), f"{name}, line {rows.line_num}")
            for row in rows
            if any(cell.strip() for cell in row)
        )
    except csv.Error as error:
        raise InputError(f"{name}: expected a CSV file (RFC 4180), found: {error}.") from error
    if not lines:
        raise InputError(f"{name}: the roster names no player.")
    if says := says_twice([line.player for line in lines]):
        raise InputError(f"{name}: {says}")
    return lines


def _between(head: str) -> str:
    """Return what parts the columns, by the first line of a file."""
    return next((sign for sign in ",;\t" if sign in head), ",")


def says_twice(players: Sequence[str]) -> str | None:
    """Say which name stands there twice: two people may be meant, and all of one name count as one player."""
    players = [composed(player) for player in players]
    player = next((player for at, player in enumerate(players) if player in players[:at]), None)
    if player is None:
        return None
    return carried(
        f"expected each name once, found {found(player)} twice. Give two people two names; for more cards of "
        "one player say how many copies."
    )


def _roster_line(row: dict[str, str], where: str) -> RosterLine:
    player = composed(row.get("player") or "")
    hand = (row.get("hand") or "").strip().lower() or None
    copies = (row.get("copies") or "1").strip()
    number = int(copies) if copies.isascii() and copies.isdecimal() and len(copies) <= 3 else 0
    if not player or hand not in (None, "right", "left") or not 1 <= number <= 100:
        raise InputError(
            f"{where}: expected a player, hand right or left, copies 1 to 100; found {found(row)}."
        )
    return RosterLine(player, hand, number)


class Catalog:
    """Field maps of printed editions and the cards printed for a named player, in a folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._found: dict[str, Layout] = {}  # making a built-in layout takes 10 ms, and every card asks
        self._carried: dict[Path, str | InputError] | None = None

    def __getstate__(self) -> dict[str, object]:
        """Return what a child process is given: a copy, since another thread may find one more meanwhile."""
        return {**self.__dict__, "_found": dict(self._found)}

    def carried(self) -> Catalog:
        """Return a copy that holds what the folder holds now, to be sent where the folder is not seen."""
        copy = Catalog(self._folder)
        copy._found = dict(self._found)
        copy._carried = {path: _text_or_why(path) for path in self._folder.glob("*.json")} | {
            path: _text_or_why(path) for path in (self._folder / "cards").glob("*.json")
        }
        return copy

    def _text(self, path: Path) -> str | None:
        """Return the text of a file of the folder, None where there is none."""
        if self._carried is None:
            return read_text(path) if path.exists() else None
        text = self._carried.get(path)
        if isinstance(text, InputError):
            raise text
        return text

    def register(self, layout: Layout) -> str:
        """Keep a layout under its fingerprint; return the fingerprint. What is built in needs no file."""
        name = fingerprint(layout)
        if name not in builtin_fingerprints() and not self._map_path(name).exists():
            self._write(self._map_path(name), layout_to_json(layout).encode())
        return name

    def find(self, name: str) -> Layout | None:
        """Return the layout of a fingerprint, or None when neither built in nor registered."""
        if name not in self._found:
            built_in = builtin_fingerprints().get(name)
            path = self._map_path(name)
            if built_in is not None:
                self._found[name] = builtin_layout(*built_in)
            elif name in earlier_fingerprints():
                self._found[name] = earlier_layout(name)
            elif name.isalnum() and (text := self._text(path)) is not None:
                layout = layout_from_json(text, path_text(path))
                if fingerprint(layout) != name:  # renamed by hand: it would be read by another card's places
                    raise InputError(
                        f"{path_text(path)}: expected the field map {name}, found {fingerprint(layout)}. "
                        "Name the file by what is in it."
                    )
                self._found[name] = layout
        return self._found.get(name)

    def assign(self, serials: dict[str, str], *, evening: str = "", day: str = "") -> None:
        """Keep which alias each serial was printed for. The card itself carries only the serial.

        Parameters
        ----------
        evening, day : what the cards were printed for and when, for those of a club evening
        """
        more = {"evening": evening, "printed": day} if evening else {}
        for serial, player in serials.items():
            self._write(self._card_path(serial), json.dumps({"player": player, **more}).encode())

    def evenings(self) -> dict[str, list[tuple[str, str, str]]]:
        """Return serial, alias and day of the cards printed for each evening; the latest evening first."""
        cards = self._folder / "cards"
        found: dict[str, list[tuple[str, str, str]]] = {}
        for path in sorted(cards.glob("*.json")) if cards.is_dir() else []:
            data = _about_card(path, read_text(path))
            if is_text(data.get("evening")) and data["evening"]:
                day = data["printed"] if is_text(data.get("printed")) else ""
                found.setdefault(data["evening"], []).append((path.stem, data["player"], day))
        return dict(sorted(found.items(), key=lambda item: (item[1][0][2], item[0]), reverse=True))

    def player_of(self, serial: str) -> str | None:
        """Return the alias a card was printed for, or None."""
        path = self._card_path(serial)
        text = self._text(path) if is_serial(serial) else None
        return None if text is None else _about_card(path, text)["player"]

    def cards_of(self, player: str) -> tuple[Path, ...]:
        """Return the files that say which cards were printed for an alias."""
        cards = self._folder / "cards"
        paths = sorted(cards.glob("*.json")) if cards.is_dir() else []
        return tuple(path for path in paths if _player_in(path) == player)

    def forget(self, player: str) -> None:
        """Forget which cards were printed for an alias."""
        for path in self.cards_of(player):
            path.unlink(missing_ok=True)

    def _write(self, path: Path, data: bytes) -> None:
        private_folder(path.parent)
        write_whole(path, data, private=True)

    def _map_path(self, name: str) -> Path:
        return self._folder / f"{name}.json"

    def _card_path(self, serial: str) -> Path:
        return self._folder / "cards" / f"{serial}.json"


def _player_in(path: Path) -> str:
    """Return the alias in a file of `Catalog.assign`; InputError when somebody or something broke it."""
    return str(_about_card(path, read_text(path))["player"])


def _text_or_why(path: Path) -> str | InputError:
    try:
        return read_text(path)
    except InputError as error:  # told of the card that it is about, and of no other
        return error


def _about_card(path: Path, text: str) -> dict[str, Any]:
    name = path_text(path)
    data = parsed_json(text, name, "which player a card was printed for")
    if not isinstance(data, dict) or not is_text(data.get("player")):
        raise InputError(
            f'{name}: expected which player a card was printed for, as in {{"player": "Wren"}}, found '
            f"{found(data)}. Write it anew, or delete the file: then the card is nobody's."
        )
    # Files of earlier versions have names as they came, with accents apart or not.
    return data | {"player": whole_letters(data["player"])}


def builtin_fingerprints() -> dict[str, tuple[str, str, str, str]]:
    """Return fingerprint -> (form, paper, unit, hand) of the built-in cards without a course printed in.

    They are kept as a file, since making all of them at each start would take longer than reading a card; a
    test makes them anew and compares, and so also sees when an edition changed that must not change.
    """
    text = files(BUILTIN).joinpath("fingerprints.json").read_text("utf-8")
    return {name: (v[0], v[1], v[2], v[3]) for name, v in json.loads(text).items()}


def earlier_fingerprints() -> frozenset[str]:
    """Return the fingerprints of built-in cards as earlier editions printed them."""
    return frozenset(files(BUILTIN).joinpath("earlier.txt").read_text("utf-8").split())


def earlier_layout(name: str) -> Layout:
    """Return the layout of a built-in card of an earlier edition; KeyError when there is none."""
    import lzma

    text = lzma.decompress(files(BUILTIN).joinpath("earlier.json.xz").read_bytes()).decode()
    # Only the one that is asked for is parsed: all of them take 80 ms, as long as a photo's marks.
    start = text.find(f'"{name}":{{"schema"')
    if start < 0:
        raise KeyError(name)
    _, end = json.JSONDecoder().raw_decode(text, text.index("{", start))
    return layout_from_json(text[text.index("{", start) : end], name)


def builtin_layout(form: str, paper: str, unit: str, hand: str) -> Layout:
    """Return the layout of a built-in card."""
    return arrange(load_form(form, unit=unit, hand=hand), PAPERS[paper]).layout


def all_builtin_fingerprints() -> dict[str, tuple[str, str, str, str]]:
    """Make every built-in card and return what `fingerprints.json` must hold."""
    return {
        fingerprint(builtin_layout(form, paper, unit, hand)): (form, paper, unit, hand)
        for form in builtin_names()
        for paper in PAPERS
        for unit in ("m", "ft")
        for hand in ("right", "left")
    }
