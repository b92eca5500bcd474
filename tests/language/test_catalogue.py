"""Each language is whole: what the code says is translated, with the same values, and compiled."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from shortpencil.scan.language.spoken import FOLDER, ROOMS
from tests.language import catalogue

ROOT = Path(__file__).parents[2]
#: Rooms that are whole.
WHOLE = ROOMS


@pytest.mark.parametrize("language", catalogue.OTHERS)
@pytest.mark.parametrize("room", ROOMS)
def test_the_compiled_file_is_that_of_the_sentences(language: str, room: str) -> None:
    mo = (FOLDER / language / f"{room}.mo").read_bytes()
    assert mo == catalogue.compiled(language, room), "run: bash .ci/words"


@pytest.mark.parametrize("language", catalogue.OTHERS)
@pytest.mark.parametrize("room", WHOLE)
def test_every_sentence_of_the_code_is_translated(language: str, room: str) -> None:
    assert catalogue.missing(language, room) == [], "run: bash .ci/words, then translate"


def test_every_error_for_people_carries_its_sentence() -> None:
    """The sentences of a class of errors that the collection does not know would never be translated."""
    known = set(catalogue.CARRIERS)
    for path in catalogue._files():
        if path.suffix == ".py":
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.ClassDef) and known & {ast.unparse(base) for base in node.bases}:
                    assert node.name in known, f"{path}: {node.name} is not in CARRIERS"


@pytest.mark.parametrize("language", catalogue.OTHERS)
def test_a_sentence_of_two_rooms_is_translated_the_same(language: str) -> None:
    said: dict[object, set[object]] = {}
    for room in ROOMS:
        for message in catalogue.read(language, room):
            if message.id and message.string and any(message.string):
                key = (
                    tuple(message.id) if isinstance(message.id, list | tuple) else message.id,
                    message.context,
                )
                said.setdefault(key, set()).add(
                    tuple(message.string) if isinstance(message.string, list | tuple) else message.string
                )
    assert {key: forms for key, forms in said.items() if len(forms) > 1} == {}


def test_what_is_missing_is_found() -> None:
    """The check can fail: of a catalogue that was made wrong, every fault is named."""
    found = catalogue.sentences_of_code(
        'a = _("one {n}", n=1)\nb = ngettext("{n} card", "{n} cards", 2)\n'
        'raise InputError(f"{path.name}: expected {len(rows)} rows, found {x!r}.")\n_(variable)\n'
    )
    assert ("one {n}", None) in found
    assert (("{n} card", "{n} cards"), None) in found
    assert ("{name}: expected {rows} rows, found {x}.", None) in found
    assert len(found) == 3
    assert catalogue.sentences_of_template('{% trans n=x %}Hole {{ n }}{% endtrans %}{{ _("Score") }}') == [
        ("Hole %(n)s", None),
        ("Score", None),
    ]


def _python() -> list[Path]:
    return [
        p
        for top in ("forms", "scan")
        for p in sorted((ROOT / top).rglob("*.py"))
        if "training" not in p.parts
    ]


_SCOPES = ast.FunctionDef | ast.AsyncFunctionDef | ast.GeneratorExp | ast.ListComp | ast.DictComp


def _of_this_scope(node: ast.AST) -> list[ast.AST]:
    """All of a function or comprehension but the comprehensions in it, whose variables are their own."""
    found, left = [], list(ast.iter_child_nodes(node))
    while left:
        one = left.pop()
        found.append(one)
        if not isinstance(one, ast.GeneratorExp | ast.ListComp | ast.SetComp | ast.DictComp):
            left += ast.iter_child_nodes(one)
    return found


@pytest.mark.parametrize("path", _python(), ids=lambda p: str(p.relative_to(ROOT)))
def test_sentences_stand_in_the_code_whole(path: Path) -> None:
    """No f-string is looked up, which no catalogue could hold; and `_` is nothing else where it speaks."""
    tree = ast.parse(path.read_text("utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("_", "N_", "ngettext", "pgettext"):
            texts = node.args[:2] if node.func.id in ("ngettext", "pgettext") else node.args[:1]  # type: ignore[attr-defined]
            assert not any(isinstance(text, ast.JoinedStr) for text in texts), ast.unparse(node)
        if isinstance(node, _SCOPES):
            own = [n for n in _of_this_scope(node) if isinstance(n, ast.Name) and n.id == "_"]
            speaks = any(isinstance(n, ast.Call) and getattr(n.func, "id", "") == "_" for n in ast.walk(node))
            bound = any(isinstance(n.ctx, ast.Store) for n in own)
            assert not (speaks and bound), f"line {node.lineno}: `_` is a variable and speaks"


@pytest.mark.parametrize("path", sorted((ROOT / "scan").rglob("templates/*.html")), ids=lambda p: p.name)
def test_templates_translate_only_what_stands_in_them(path: Path) -> None:
    """Else somebody's text would be taken for ours, and put into the page unescaped."""
    for call in re.findall(r"\b(?:_|gettext|ngettext|pgettext)\((.)", path.read_text("utf-8")):
        assert call in "\"'", path.name
