"""Keeps the sentences of every language true to the code: collect, update, compile, check. Uses Babel.

`python -m tests.language.catalogue` (or `bash .ci/words`) reads the code and the templates, brings
`scan/language/LANGUAGE/ROOM.po` up to date (new sentences are there to be translated, those that the code
no longer says go), writes the `.mo` beside it and lists what is missing. `--check` changes nothing.

Collected are the arguments of `_`, `N_`, `ngettext`, `pgettext`, what templates say in `{% trans %}` and
`_()`, the drills, and the sentences that are carried in English: those given to `carried`, to our errors
and to findings, f-strings among them. Their values are called by their expression: ``f"{path}: found
{len(lines)} lines"`` is ``{path}: found {lines} lines``.
"""

from __future__ import annotations

import argparse
import ast
import io
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from jinja2.ext import babel_extract

from shortpencil.scan.language.spoken import ENGLISH, FOLDER, LANGUAGES, ROOMS

ROOT = Path(__file__).parents[2]
DRILLS = ROOT / "scan" / "practice" / "drills.toml"
OTHERS = [language for language in LANGUAGES if language != ENGLISH]
#: What carries a sentence in English -> which of its arguments that is.
CARRIERS = {
    "carried": 0, "ShortpencilError": 0, "LayoutError": 0, "PhotoError": 0, "RecordError": 0, "NotThere": 0,
    "ForeignStore": 0, "OutOfReach": 0,
    "InputError": 0, "PageError": 0, "AnsweredMeanwhile": 0, "HTTPException": 1, "Finding": 2,
    "RoundFinding": 2, "parsed_toml": 2, "parsed_json": 2, "read_bytes": 2,
}  # fmt: skip

#: Files that say what is wrong in many small sentences, beside those of `scan/vision`: all are carried.
SMALL = (
    "scan/records/recording/schema.py",
    "scan/records/exchanging/csv_rows.py",
    "scan/records/exchanging/importing.py",
)

#: What is put into a variable of this name is a sentence that is carried.
SAYING = ("says", "parts", "noted", "missing")


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence of the code; `key` as gettext keys it: the sentence, or its two forms."""

    key: str | tuple[str, str]
    context: str | None
    file: str


def room_of(path: Path) -> str:
    """Return whose file a sentence belongs into."""
    parts = path.relative_to(ROOT).parts
    return parts[1] if parts[0] == "scan" and parts[1] in ROOMS else "shared"


def _files() -> Iterator[Path]:
    for top in ("forms", "scan"):
        for path in sorted((ROOT / top).rglob("*")):
            if path.suffix in (".py", ".html") and "training" not in path.parts:
                yield path
    yield DRILLS


@cache
def collected() -> dict[str, list[Sentence]]:
    """Return all sentences of the code by room, each once, in the order of the files."""
    found: dict[str, dict[tuple[object, str | None], Sentence]] = {room: {} for room in ROOMS}
    for path in _files():
        text = path.read_text("utf-8")
        if path.suffix == ".html":
            sentences = sentences_of_template(text)
        elif path.suffix == ".toml":
            sentences = sentences_of_drills(text)
        else:
            small = str(path.relative_to(ROOT)) in SMALL
            sentences = sentences_of_code(text, all_of_it=small or "vision" in path.parts)
        for key, context in sentences:
            one = Sentence(key, context, str(path.relative_to(ROOT)))
            found[room_of(path)].setdefault((key, context), one)
    return {room: list(of_room.values()) for room, of_room in found.items()}


Found = tuple[str | tuple[str, str], str | None]


def sentences_of_template(text: str) -> list[Found]:
    """Return the sentences of a Jinja template."""
    found: list[Found] = []
    options = {
        "trimmed": "true",
        "silent": "false",
        "trim_blocks": "true",
        "lstrip_blocks": "true",
        "newstyle_gettext": "true",
    }
    for _line, function, message, _notes in babel_extract(
        io.BytesIO(text.encode()), ("_", "gettext", "ngettext", "pgettext"), [], options
    ):
        if function == "ngettext":
            found.append(((message[0], message[1]), None))
        elif function == "pgettext":
            found.append((message[1], message[0]))
        else:
            found.append((message if isinstance(message, str) else message[0], None))
    return found


def sentences_of_drills(text: str) -> list[Found]:
    """Return what the drills that come with the program say."""
    data = tomllib.loads(text)
    keys = ("title", "how", "cue", "counts", "caution")
    return [
        (item[key], None) for kind in ("drill", "test") for item in data[kind] for key in keys if key in item
    ]


def sentences_of_code(text: str, *, all_of_it: bool = False) -> list[Found]:
    """Return the sentences of Python source.

    With `all_of_it`, every text of several words that is no docstring and in no error of the program itself:
    what a photo cannot show, or a record cannot say, is said in many small sentences, and all are carried.
    """
    found: list[Found] = []
    tree = ast.parse(text)
    if all_of_it:
        found += [(said, None) for said in _all_texts(tree)]
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign | ast.AugAssign | ast.Return) and node.value is not None:
            targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
            if any(getattr(target, "id", "") in SAYING for target in targets):
                found += [(said, None) for said in _carried(node.value)]
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "id", getattr(node.func, "attr", ""))
        given = [arg.value if _is_text(arg) else None for arg in node.args]  # type: ignore[attr-defined]
        if name in ("_", "N_") and given[:1] != [None] and given:
            found.append((given[0], None))
        elif name in ("ngettext", "both") and len(given) > 1 and None not in given[:2]:
            found.append(((given[0], given[1]), None))
        elif name == "pgettext" and len(given) > 1 and None not in given[:2]:
            found.append((given[1], given[0]))
        elif name in CARRIERS and len(node.args) > CARRIERS[name]:
            found += [(said, None) for said in _carried(node.args[CARRIERS[name]])]
    return found


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def _carried(node: ast.expr) -> list[str]:
    """Return the sentences of an argument: a text, an f-string, or either of two."""
    if isinstance(node, ast.IfExp):
        return [*_carried(node.body), *_carried(node.orelse)]
    if isinstance(node, ast.JoinedStr):
        said = _of_f_string(node)
    elif _is_text(node):
        said = str(node.value)  # type: ignore[attr-defined]
    else:
        return []
    return [said] if sum(sign.isalpha() for sign in re.sub(r"\{\w+\}", "", said)) > 3 else []


def _all_texts(tree: ast.AST) -> list[str]:
    """Return every text of two words and more, docstrings and the errors of the program itself left out."""
    out: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and _is_text(node.value):
            out.add(node.value)
        is_own = isinstance(node, ast.Raise) and getattr(getattr(node.exc, "func", None), "id", "") in _OWN
        if is_own or isinstance(node, ast.Assert):
            out |= set(ast.walk(node))
        if isinstance(node, ast.JoinedStr):  # its parts are no texts of their own
            out |= {part for part in ast.walk(node) if part is not node and _is_text(part)}
    nodes = [
        node for node in ast.walk(tree) if node not in out and isinstance(node, ast.Constant | ast.JoinedStr)
    ]
    texts = [said for node in nodes for said in _carried(node)]
    return [
        said
        for said in texts
        if re.search(r"[a-z]{2,},? [A-Za-z({]", said)
        and not re.search(r"[\\_]\w|^--", re.sub(r"\{\w+\}", "", said))
    ]


_OWN = ("ValueError", "TypeError", "AssertionError", "RuntimeError", "NotImplementedError")


def _of_f_string(node: ast.JoinedStr) -> str:
    names: dict[str, str] = {}
    parts = []
    for part in node.values:
        if isinstance(part, ast.Constant):
            parts.append(str(part.value))
            continue
        assert isinstance(part, ast.FormattedValue)
        text = ast.dump(part.value) + ast.dump(part)
        if text not in names:
            name = base = _called(part.value)
            number = 2
            while name in names.values():
                name, number = f"{base}{number}", number + 1
            names[text] = name
        parts.append(f"{{{names[text]}}}")
    return "".join(parts)


def _called(node: ast.expr) -> str:
    """Return what a value is called: ``path`` of ``path``, ``self.path``, ``str(path)`` and ``path[0]``."""
    if isinstance(node, ast.Name):
        return node.id.strip("_").lower() or "value"
    if isinstance(node, ast.Attribute):
        return node.attr.strip("_").lower()
    if isinstance(node, ast.Call):
        about = next((arg for arg in node.args if not isinstance(arg, ast.Constant | ast.GeneratorExp)), None)
        if about is not None and not isinstance(about, ast.Starred | ast.ListComp):
            return _called(about)
        return _called(node.func)
    if isinstance(node, ast.Subscript):
        return _called(node.value)
    if isinstance(node, ast.BinOp):
        return _called(node.left)
    if isinstance(node, ast.BoolOp):
        return _called(node.values[0])
    return "value"


def po_of(language: str, room: str) -> Path:
    """Return where the translations of a room lie."""
    return FOLDER / language / f"{room}.po"


def read(language: str, room: str) -> Catalog:
    """Return the translations of a room as they are."""
    path = po_of(language, room)
    catalog = _Undated(locale=language, fuzzy=False)
    if path.exists():
        with path.open("rb") as file:
            for message in read_po(file, locale=language):
                if message.id:
                    catalog[message.id] = message
    return catalog


def update(language: str, room: str) -> None:
    """Bring the file of a room up to date with the code: what is new is empty, what is gone is gone."""
    old = read(language, room)
    new = _Undated(locale=language, charset="utf-8", fuzzy=False)
    new.header_comment = f"# What {room} says, in {LANGUAGES[language]}: bash .ci/words keeps this file."
    for one in collected()[room]:
        before = old.get(one.key if isinstance(one.key, str) else one.key[0], one.context)
        same = before is not None and before.id == one.key
        new.add(one.key, before.string if same and before else None, [(one.file, 1)], context=one.context)
    po_of(language, room).parent.mkdir(exist_ok=True)
    po_of(language, room).write_bytes(as_po(new))


class _Undated(Catalog):
    """A catalogue whose header says what gettext needs, and no date that would differ at each run."""

    @property
    def mime_headers(self) -> list[tuple[str, str]]:
        """Return the header's lines."""
        return [(name, value) for name, value in super().mime_headers if name in _NEEDED]


_NEEDED = ("Language", "Plural-Forms", "MIME-Version", "Content-Type", "Content-Transfer-Encoding")


def as_po(catalog: Catalog) -> bytes:
    """Return a catalogue as the file that translators edit."""
    text = io.BytesIO()
    write_po(text, catalog, width=110, include_lineno=False, ignore_obsolete=True)
    return text.getvalue().rstrip() + b"\n"


def compiled(language: str, room: str) -> bytes:
    """Return the file that is read when the program runs."""
    text = io.BytesIO()
    write_mo(text, read(language, room))
    return text.getvalue()


_BRACES, _PERCENTS = re.compile(r"\{\w+\}"), re.compile(r"%\(\w+\)[a-z]|%%")


def missing(language: str, room: str) -> list[str]:
    """Return what is not as it must be: not translated, unsure, other values, or not what the code says."""
    catalog = read(language, room)
    wanted = {(one.key, one.context): one for one in collected()[room]}
    there = {(m.id if isinstance(m.id, str) else tuple(m.id), m.context): m for m in catalog if m.id}
    found = [
        f"not in the file: {key!r} ({one.file})" for (key, c), one in wanted.items() if (key, c) not in there
    ]
    found += [f"no longer said: {key!r}" for key, c in there if (key, c) not in wanted]
    for (key, _context), message in there.items():
        forms = message.string if isinstance(message.string, list | tuple) else (message.string,)
        if not all(forms) or len(forms) != (catalog.num_plurals if isinstance(key, tuple) else 1):
            found.append(f"not translated: {key!r}")
        elif message.fuzzy:
            found.append(f"unsure: {key!r}")
        else:
            many = key if isinstance(key, str) else key[1]
            for number, form in enumerate(forms):
                for values in (_BRACES, _PERCENTS):
                    same, its = set(values.findall(many)), set(values.findall(form))
                    # "one question" may say its number as a word
                    if same != its and not (isinstance(key, tuple) and number == 0 and its <= same):
                        found.append(f"other values: {key!r}: {form!r}")
    return found


def main() -> int:
    """Bring all up to date, or only look."""
    parser = argparse.ArgumentParser(description="Keep the translations true to the code.")
    parser.add_argument("--check", action="store_true", help="change nothing")
    parser.add_argument("--list", action="store_true", help="list what is missing, not only count it")
    parser.add_argument("rooms", nargs="*", metavar="ROOM", help=f"of {', '.join(ROOMS)} (default: all)")
    args = parser.parse_args()
    faults = 0
    for language in OTHERS:
        for room in args.rooms or ROOMS:
            if not args.check:
                update(language, room)
                po_of(language, room).with_suffix(".mo").write_bytes(compiled(language, room))
            found = missing(language, room)
            faults += len(found)
            print(f"{language} {room}: {len(collected()[room])} sentences, {len(found)} to be looked at")
            if args.list:
                print(*(f"  {line}" for line in found), sep="\n")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
