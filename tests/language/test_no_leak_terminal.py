"""In a made-up language of brackets, no command and no help says a word outside of them but data."""

from __future__ import annotations

import argparse
import errno
import os
import re
from pathlib import Path

import pytest

from shortpencil.scan.cli.main import build_parser, main
from shortpencil.scan.records.store import Store
from tests.language.brackets import outside
from tests.language.test_no_leak import ROOT, words_of_data


def parsers() -> dict[str, argparse.ArgumentParser]:
    (choices,) = [a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction)]
    return dict(choices.choices)


def names() -> set[str]:
    """What is typed: commands, options, their values and placeholders."""
    found = {"shortpencil", *parsers()}
    for parser in parsers().values():
        for action in parser._actions:
            found |= {*action.option_strings, action.dest, *map(str, action.choices or ())}
            found |= {action.metavar} if isinstance(action.metavar, str) else set()
    return {word.casefold() for name in found for word in re.findall(r"[^\W\d_]{2,}", name)} | {
        "command",
        "version",
    }


SAMPLES = ROOT / "sample_scans"
NOT_READ = ("half_out_of_picture_blurred.jpg", "README.md")


def leaks(text: str, data: set[str]) -> set[str]:
    words = re.findall(r"[^\W\d_]{2,}", outside(text))
    return {word for word in words if word.casefold() not in data}


@pytest.mark.usefixtures("made_up")
def test_no_help_says_a_word_that_is_not_in_the_catalogue(capsys: pytest.CaptureFixture[str]) -> None:
    data, found = names(), {}
    for command in ("", *parsers()):
        with pytest.raises(SystemExit):
            main([*([command] if command else []), "--help"])
        if wrong := leaks(capsys.readouterr().out, data):
            found[command] = wrong
    assert found == {}


@pytest.mark.usefixtures("made_up")
def test_no_command_says_a_word_that_is_not_in_the_catalogue(
    store: Store, place: Path, serial: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ["--store", str(place)]
    commands = [
        ["rounds", *at], ["rounds", serial, *at], ["rounds", "none-such", *at], ["answer", serial, *at],
        ["aside", serial, *at], ["aside", *at], ["aside", "--back", serial, *at], ["delete", serial, *at],
        ["delete", "--undo", serial, *at], ["export", str(tmp_path / "out"), *at], ["check", *at],
        ["hand", *at],
        ["backup", str(tmp_path / "all.zip"), *at],
        ["restore", str(tmp_path / "all.zip"), *at],
        ["import", str(tmp_path / "none.json"), *at], ["read", str(tmp_path / "none.jpg"), *at],
        ["read", "--dry-run", *(str(SAMPLES / name) for name in NOT_READ), *at],
        ["forget", "Nobody", *at], ["evening"], ["print", "-o", str(tmp_path / "card.pdf"), "--evening", "x"],
        ["print", "-o", str(tmp_path / "card.pdf")], ["practised", *at], ["season", "--report", "x.txt", *at],
    ]  # fmt: skip
    data = words_of_data(store) | names()
    system = os.strerror(errno.ENOENT)  # the system says it in its own words
    typed = f"{tmp_path} {serial} {place} {system} none-such {ROOT}"
    data |= {word.casefold() for word in re.findall(r"[^\W\d_]{2,}", typed)}
    data |= {
        "rounds",
        "holes",
        "throws",
        "csv",
        "json",
        "toml",
        "practice",
        "utc",
        "doubts",
        "datapackage",
        "schema",
    }
    data |= {"all", "zip", "out", "jpg", "none", "nobody", "kb", "pdf", "card", "wal", "txt"}
    data |= {"readme", "md", "blurred"}
    data |= {
        word for path in ("three_to_review", "plain_good_light", "sample_scans") for word in path.split("_")
    }
    ids = [card for card, _fields in store.waiting_fields()] + [head.serial for head in store.heads()]
    ids += [field.id for field in store.card(serial).form.fields]
    data |= {word.casefold() for one in ids for word in re.findall(r"[^\W\d_]{2,}", one)}
    found = {}
    for command in commands:
        main(command)
        told = capsys.readouterr()
        if wrong := leaks(told.out + told.err, data):
            found[" ".join(command[:2])] = wrong
    assert found == {}
