"""A practice card goes the whole way: plan, print, pencil, photo, store, and an answered set."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.field_map import fingerprint, layout_to_json
from shortpencil.forms.pdf import identify, to_pdf
from shortpencil.forms.serials import serial_from
from shortpencil.scan.cli.main import main
from shortpencil.scan.places import forms_folder
from shortpencil.scan.practice.card import practice_page
from shortpencil.scan.records.store import open_store
from tests.practice.invented import Player, rounds_of
from tests.practice.test_card import a_sheet
from tests.simulator.blanks import small_bank
from tests.simulator.paper import rasterise
from tests.simulator.scenario import fill, some_writer

MADE = {"made.finger-to-the-pole.10.1": 6, "made.finger-to-the-pole.10.2": 8, "made.ten-putts.10.1": 7}


def test_made_of_tries_reach_the_store_and_can_be_answered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SHORTPENCIL_HOME", str(tmp_path / "home"))
    plan, sheet = a_sheet()
    catalog = Catalog(forms_folder())
    name = catalog.register(sheet.layout)
    assert name == fingerprint(sheet.layout)
    serial = serial_from(b"practice card no 1")
    catalog.assign({serial: "Wren"})
    pdf = to_pdf([practice_page(sheet, identify(serial, name, "Wren"), plan)], sheet.layout.paper, "card")
    field_map = json.loads(layout_to_json(sheet.layout))
    writer = some_writer(np.random.default_rng(5), small_bank())
    answers = {"date.day": 9, "date.month": 8, "date.year": 26, **MADE}
    filled = fill(
        rasterise(pdf, 1, 8.0), 8.0, field_map, answers, writer, 5, bank=small_bank(), serial=serial
    )
    photo = tmp_path / "practice.png"
    assert cv2.imwrite(str(photo), cv2.cvtColor(filled.rgb, cv2.COLOR_RGB2BGR))
    store = tmp_path / "rounds.sqlite"
    assert main(["read", str(photo), "--store", str(store)]) in (0, 1)
    with open_store(store) as kept:
        assert kept.rounds() == ()
        (sheet,) = kept.sheet(serial)
        assert sheet.photos[0].recorded_at  # when it was read, also of a card that is no round
        assert kept.picture(serial, "words") is None  # printed lines are nobody's words
        for waiting in kept.waiting():  # a person says what the reader was not sure of
            kept.answer(
                serial, waiting.field, answers.get(waiting.field), "Wren", datetime(2026, 8, 9, tzinfo=UTC)
            )
        sets = kept.practice()
        assert {(s.drill, s.tries.known, s.made.known) for s in sets} == {
            ("finger-to-the-pole", 10, 6),
            ("finger-to-the-pole", 10, 8),
            ("ten-putts", 10, 7),
        }
        assert {(s.player, str(s.day)) for s in sets} == {("Wren", "2026-08-09")}
    capsys.readouterr()
    main(["read", "--again", str(photo), "--store", str(store)])
    # What comes next is said, or why nothing does.
    assert "Wren: There is no round of Wren yet" in capsys.readouterr().err
    with open_store(store) as kept:
        kept.add_rounds(rounds_of(Player(name="Wren"), 6, np.random.default_rng(1)))
    main(["read", "--again", str(photo), "--store", str(store)])
    told = capsys.readouterr().err
    assert "Wren: next session: practise your " in told
    assert "Landing area clear of people first." in told  # with its cautions, as wherever a plan stands
    assert "\N{NO-BREAK SPACE}" not in told
    with open_store(store) as kept:
        kept.answer(serial, "made.ten-putts.10.1", 9, "Wren", datetime(2026, 8, 10, tzinfo=UTC))
        (test,) = [s for s in kept.practice() if s.drill == "ten-putts"]
        assert (test.made.known, test.made.source) == (9, "entered")
