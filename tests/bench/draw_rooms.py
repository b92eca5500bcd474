"""The rooms of a photo's way and of a record's: which imports which, how each walks through, their pictures.

    python -m tests.bench.draw_rooms                   figures of this checkout
    python -m tests.bench.draw_rooms --house records   of scan/records in place of scan/vision
    python -m tests.bench.draw_rooms --draw            docs/figures/rooms.svg (or records.svg), too
    python -m tests.bench.draw_rooms --of DIR          figures of another checkout, an earlier one perhaps

A file's floor is one above the highest file of its house that it imports. A walk is what really happens while
one sample photo is read, or its card is stored, answered and listed: a *stay* begins whenever a function
of another file of the house is entered, a *return* is a stay in a file where it was before; the same by room.
"""

from __future__ import annotations

import argparse
import ast
import json
import subprocess
import sys
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
FIGURES = ROOT / "docs" / "figures"


@dataclass(frozen=True)
class House:
    """A folder of rooms.

    Attributes
    ----------
    rooms : what each is for, in walking order
    figure : the file of their picture
    before : code that gets ready `walk`, a function that goes the whole way once
    """

    name: str
    rooms: Mapping[str, str]
    figure: str
    before: str


HOUSES = {
    house.name: house
    for house in (
        House(
            "vision",
            {
                "opening": "a file to a grey picture",
                "finding": "the card in it, and which",
                "flattening": "where every mm lies",
                "seeing": "what each cell looks like",
                "doubting": "what cannot be seen",
                "weighing": "how likely each answer is",
                "deciding": "answers, and what to ask",
                "joining": "several photos, one card",
            },
            "rooms.svg",
            """
from shortpencil.scan.vision.pipeline import read_photo
try:
    from shortpencil.scan.vision.opening.photo import load_photos
except ImportError:
    from shortpencil.scan.vision.photo import load_photos
from shortpencil.forms.catalog import Catalog
find = Catalog(Path("nowhere")).find
photo = next(iter(load_photos(Path("sample_scans/plain_good_light.jpg"))))
def walk():
    read_photo(photo, find)
""",
        ),
        House(
            "records",
            {
                "composing": "what a card says, as a round",
                "recording": "a round as JSON, and back",
                "exchanging": "tables and files of others",
                "concluding": "what several photos come to",
                "storing": "rows, seals, statements",
                "belonging": "whose it is, set aside, forgotten",
                "keeping": "opened, added, answered, read",
            },
            "records.svg",
            """
import tempfile
import shortpencil
def walk():
    with tempfile.TemporaryDirectory() as folder, shortpencil.open_store(Path(folder) / "a.sqlite") as store:
        (kept,) = shortpencil.keep(store, ["sample_scans/three_to_review.jpg"])
        store.answer("6JPW6R3R", "h05.drive", "clean", "you", datetime(2030, 5, 1, tzinfo=UTC))
        list(store.rounds()), store.summaries()
""",
        ),
    )
}

_WALK = """
import json, sys
from datetime import UTC, datetime
from pathlib import Path
{before}
walk()  # tables that are made once are no part of the way
way, here = [], str(Path("scan/{name}").resolve()) + "/"
def entered(frame, event, _):
    if event == "call" and frame.f_code.co_filename.startswith(here):
        way.append(frame.f_code.co_filename[len(here):])
sys.setprofile(entered)
walk()
sys.setprofile(None)
print(json.dumps(way))
"""


def imports_within(root: Path, house: House) -> dict[str, set[str]]:
    """File of a house -> the files of it that it imports; the training scripts are left out."""
    room = root / "scan" / house.name
    files = {
        ".".join(("shortpencil", "scan", house.name, *path.relative_to(room).with_suffix("").parts)): path
        for path in room.rglob("*.py")
        if "training" not in path.parts and path.name != "__init__.py"
    }
    found: dict[str, set[str]] = {}
    for name, path in files.items():
        wanted: set[str] = set()
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                wanted |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        found[name] = wanted & files.keys() - {name}
    return found


def floors(graph: dict[str, set[str]]) -> dict[str, int]:
    """File -> its floor, 1 for those that import no other."""

    @cache
    def floor(name: str) -> int:
        return 1 + max((floor(other) for other in graph[name]), default=0)

    return {name: floor(name) for name in graph}


def room_of(name: str) -> str:
    """The room of a file, or the name of one that stands between the rooms."""
    return name.split(".")[3]


def walk(root: Path, house: House) -> list[str]:
    """The files through which it goes, one entry a function that is entered."""
    code = _WALK.format(before=house.before, name=house.name)
    run = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True)
    way: list[str] = json.loads(run.stdout)
    return way


def stays(way: list[str]) -> tuple[int, int]:
    """How often it comes to another place, and how often to one where it was before."""
    places = [place for at, place in enumerate(way) if at == 0 or place != way[at - 1]]
    return len(places), len(places) - len(set(places))


def _arc(y_from: float, y_to: float, count: int, says: str) -> str:
    far = 20 + 0.9 * abs(y_from - y_to) ** 0.85
    width = 0.7 + 0.5 * count**0.7
    return (
        f'<path d="M130 {y_from} C{130 - far:.0f} {y_from} {130 - far:.0f} {y_to} 130 {y_to}" fill="none" '
        f'stroke="#0a6aa6" stroke-width="{width:.1f}" opacity=".6"><title>{says}</title></path>'
    )


def _lines(words: list[str], most: int) -> list[str]:
    lines = [""]
    for word in words:
        if len(lines[-1]) + len(word) > most:
            lines.append("")
        lines[-1] += f"  {word}" if lines[-1] else word
    return lines


def drawn(graph: dict[str, set[str]], rooms: Mapping[str, str]) -> str:
    """The picture: a box a room, in walking order, with its files; arcs tell which room uses which."""
    between: Counter[tuple[str, str]] = Counter()
    for name, others in graph.items():
        between.update((room_of(name), room_of(other)) for other in others)
    top = {room: 16 + 62 * at for at, room in enumerate(rooms)}
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 760 {62 * len(rooms) + 10}" '
        'font-family="sans-serif" font-size="12">',
        "<style>text{fill:#222}.t{font-weight:bold}.n{fill:#555;font-size:11px}"
        "@media(prefers-color-scheme:dark){text{fill:#eee}.n{fill:#bbb}}</style>",
    ]
    parts += [
        _arc(top[user] + 20, top[used] + 20, count, f"{user} uses {used}: {count} imports")
        for (user, used), count in sorted(between.items())
        if user != used and user in top and used in top
    ]
    for room, y in top.items():
        files = sorted(name.rsplit(".", 1)[1] for name in graph if room_of(name) == room)
        parts += [
            f'<rect x="130" y="{y}" width="190" height="40" rx="4" fill="#7fb4d833" stroke="#0a6aa6"/>',
            f'<text class="t" x="140" y="{y + 17}">{room}</text>',
            f'<text class="n" x="140" y="{y + 32}">{rooms[room]}</text>',
        ]
        parts += [
            f'<text class="n" x="335" y="{y + 17 + 15 * row}">{line}</text>'
            for row, line in enumerate(_lines(files, 66))
        ]
    return "\n".join([*parts, "</svg>\n"])


def main() -> None:
    """Print the figures, and draw the picture where that is asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--of", type=Path, default=ROOT, metavar="DIR", help="a checkout")
    parser.add_argument("--house", choices=HOUSES, default="vision", help="the folder of scan")
    parser.add_argument("--draw", action="store_true", help="write the picture in docs/figures")
    args = parser.parse_args()
    house = HOUSES[args.house]
    graph = imports_within(args.of, house)
    of_rooms: dict[str, set[str]] = {}
    for name, others in graph.items():
        room = room_of(name)
        of_rooms.setdefault(room, set()).update({room_of(other) for other in others} - {room})
    print(
        f"{len(graph)} files on {max(floors(graph).values())} floors, {sum(map(len, graph.values()))} imports"
    )
    print(
        f"{len(of_rooms)} rooms and files between them on {max(floors(of_rooms).values())} floors, "
        f"{sum(map(len, of_rooms.values()))} uses"
    )
    way = walk(args.of, house)
    for what, names in (("files", way), ("rooms", [name.split("/")[0] for name in way])):
        came, again = stays(names)
        print(f"the way by {what}: {came} stays, {again} of them returns")
    if args.draw:
        (FIGURES / house.figure).write_text(drawn(graph, house.rooms), "utf-8")


if __name__ == "__main__":
    main()
