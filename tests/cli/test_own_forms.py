"""Forms made from docs/forms.md alone go the whole way: printed, filled, read, answered, exported.

Where the card makes a round, it is advised on.
"""

from __future__ import annotations

import csv
import json
import re
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from shortpencil.scan.cli.main import main
from tests.forms.filled import photo_of

DOCS = Path(__file__, "../../../docs/forms.md").resolve()
DAY: dict[str, object] = {"date.day": 14, "date.month": 6, "date.year": 26}


@dataclass(frozen=True)
class Case:
    """A form of the docs, what is filled in, the field that is answered anew, and words of the advice."""

    name: str
    answers: dict[str, object]
    changed: tuple[str, str]
    phases: tuple[str, ...] = ()
    advice: tuple[str, ...] = field(default=())


def _four_phases() -> dict[str, object]:
    marks: dict[str, object] = dict(DAY)
    for hole in range(1, 10):
        at = f"h{hole:02d}"
        marks |= {f"{at}.drive": "clean", f"{at}.upshot1": "miss" if hole % 2 else "clean"}
        marks |= {f"{at}.putt1": "clean", f"{at}.score": 3 if hole % 3 else 4}
        if hole % 3 == 0:
            marks[f"{at}.fairway1"] = "clean"
    return marks | {"tally.drive": 0, "tally.fairway": 0, "tally.upshot": 5, "tally.putt": 0, "total": 30}


def _short() -> dict[str, object]:
    marks: dict[str, object] = DAY | {f"h{hole:02d}.score": 3 for hole in range(1, 10)}
    marks |= {f"h{hole:02d}.approach1": "miss" for hole in (2, 5, 6, 8)}
    marks |= {"h03.drive": "miss", "h05.putt1": "miss", "h05.score": 4}
    return marks | {"tally.drive": 1, "tally.approach": 4, "tally.putt": 1, "total": 28}


def _ends() -> dict[str, object]:
    marks: dict[str, object] = DAY | {"distance": "30"}
    for end in range(1, 7):
        arrows = (9, 8, 6 + end % 3)
        marks |= {f"e{end:02d}.arrow{n}": score for n, score in enumerate(arrows, start=1)}
        marks[f"e{end:02d}.sum"] = sum(arrows)
    return marks | {"e02.x": "1", "total": sum((9 + 8 + 6 + end % 3) for end in range(1, 7))}


def _putts() -> dict[str, object]:
    marks: dict[str, object] = dict(DAY)
    for row, made in enumerate((9, 8, 7, 5, 4), start=1):
        marks[f"r{row:02d}.dropped"] = tuple(str(n) for n in range(1, made + 1))
        marks[f"r{row:02d}.made"] = made
    return marks | {"total": 33}


CASES = (
    Case(
        "four-phases",
        _four_phases(),
        ("h02.upshot1", "miss"),
        ("drive", "fairway", "upshot", "putt"),
        ("PRACTISE YOUR UPSHOT THROWS", "fairway throws", "general words"),
    ),
    Case("kurz9", _short(), ("h07.putt2", "miss"), ("drive", "approach", "putt"), ("APPROACHES",)),
    Case("six-ends", _ends(), ("e03.arrow2", "7")),
    Case("putts-5x10", _putts(), ("r05.made", "3")),
)


def form_of(name: str) -> str:
    texts = re.findall(r"```toml\n(.*?)```", DOCS.read_text("utf-8"), re.DOTALL)
    (toml,) = (text for text in texts if f'name = "{name}"' in text)
    return toml


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_form_of_ones_own_goes_the_whole_way(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path))

    def run(*words: object) -> str:
        assert main([str(word) for word in words]) in (0, 1)
        return capsys.readouterr().out

    form, pdf, field_map, photo = (tmp_path / f"own.{end}" for end in ("toml", "pdf", "json", "jpg"))
    form.write_text(form_of(case.name), "utf-8")
    printed = run("print", "--form", form, "-o", pdf, "--map", field_map, "--player", "Wren", "--json")
    serial = json.loads(printed)["cards"][0]["serial"]
    photo.write_bytes(
        photo_of(pdf.read_bytes(), json.loads(field_map.read_text()), serial, case.answers, seed=4)
    )

    (card,) = json.loads(run("read", photo, "--json"))["cards"]
    assert card["status"] == "read"
    sure = {name: one["value"] for name, one in card["fields"].items() if one["flag"] is None}
    told = {name: list(v) if isinstance(v, tuple) else v for name, v in case.answers.items()}
    wrong = {name: (v, told.get(name)) for name, v in sure.items() if _said(v) != told.get(name)}
    assert wrong == {}
    assert len(set(told) & set(sure)) >= 0.7 * len(told)

    listed = json.loads(run("rounds", "--json"))
    assert [line["id"] for line in listed["rounds" if case.phases else "sheets"]] == [serial]
    assert not listed["sheets" if case.phases else "rounds"]
    run("answer", serial, *case.changed, "--by", "Wren")

    run("export", tmp_path / "out")
    field_id, entered = case.changed
    if not case.phases:
        row, _, name = field_id.partition(".")
        rows = csv.DictReader((tmp_path / "out" / "fields.csv").read_text("utf-8").splitlines())
        (cell,) = (r for r in rows if r["field"] == name and int(r["row"]) == int(row[1:]))
        assert (cell["value"], cell["status"], cell["source"]) == (entered, "known", "entered")
        practised = any(name.endswith(".dropped") for name in case.answers)  # what is counted there is
        assert ("1 sheet is not part of this advice" in _err(capsys, "focus")) == (not practised)
        return
    assert tuple(listed["rounds"][0]["misses"]) == case.phases
    (round_,) = json.loads((tmp_path / "out" / "rounds.json").read_text("utf-8"))["rounds"]
    throws = [t for h in round_["holes"] for t in h["throws"]]
    assert any(t["execution"].get("source") == "entered" for t in throws)
    assert {t["phase"] for t in throws} <= set(case.phases)
    shown = run("focus", "--minutes", "30", "--report", tmp_path / "focus.html")
    page = (tmp_path / "focus.html").read_text("utf-8")
    assert all(words in shown + page for words in case.advice)


def _said(value: object) -> object:
    return None if value in ("", [], ()) else value


def _err(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(list(words)) == 1
    return capsys.readouterr().err
