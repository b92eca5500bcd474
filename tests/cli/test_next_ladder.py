"""After a putting ladder or field work is read, the next session and the next ladder are said."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from shortpencil.forms.catalog import builtin_layout
from shortpencil.scan.cli.reading import _say_next
from shortpencil.scan.records.store import open_store
from tests.practice.invented import Player, hole, known, one_round, rounds_of, throw
from tests.records.test_practice_sheets import FIELD, LADDER, add


def said(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    form: str,
    answers,
    rounds=(),
) -> str:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    catalog = SimpleNamespace(find=lambda _name: builtin_layout(form, "a4", "m", "right"))
    with open_store(tmp_path / "rounds.sqlite") as store:
        store.add_rounds(list(rounds))
        serial = add(store, form, answers, "Wren")
        _say_next(store, catalog, [serial])  # type: ignore[arg-type]
    return capsys.readouterr().err


def played() -> list:
    """Rounds whose putts say by themselves from where they drop: always within 6 m, never from 9 m on."""
    found = rounds_of(Player(name="Wren"), 6, np.random.default_rng(1))
    holes = []
    for n in range(40):
        metres = 3 + n % 10
        drops = metres < 7 or (metres < 9 and n % 2 == 0)
        one = throw(1, "putt", "clean", drops, distance=known(metres), distance_m=float(metres))
        holes.append(hole(n + 1, [one]))
    return [*found, one_round("PUTTS", holes, day=date(2030, 5, 9), player="Wren")]


def test_a_ladder_leads_to_the_next_session_and_the_next_ladder(tmp_path, monkeypatch, capsys) -> None:
    told = said(tmp_path, monkeypatch, capsys, "putting-ladder", LADDER, played())
    assert "Wren: next session: practise your " in told
    assert "Landing area clear of people first." in told
    assert "    shortpencil focus --player Wren --print practice.pdf" in told
    assert "    shortpencil print --form putting-ladder --player Wren -o ladder.pdf" in told
    (line,) = [line for line in told.splitlines() if "next ladder" in line]
    metres = [int(word.strip(",;")) for word in line.split() if word.strip(",;").isdecimal()]
    assert metres == list(range(metres[0], metres[-1] + 1))
    assert metres[0] <= 7 <= metres[-1] <= 10  # where the putts above begin to stay out


def test_without_rounds_the_ladder_itself_says_where_to_go_on(tmp_path, monkeypatch, capsys) -> None:
    told = said(tmp_path, monkeypatch, capsys, "putting-ladder", LADDER)
    assert "There is no round of Wren yet" in told
    assert "next ladder: from the rungs where seven dropped on." in told
    assert "print --form putting-ladder" in told


def test_field_work_leads_to_the_next_session_alone(tmp_path, monkeypatch, capsys) -> None:
    told = said(tmp_path, monkeypatch, capsys, "field-work", FIELD, played())
    assert "Wren: next session: practise your " in told
    assert "ladder:" not in told
