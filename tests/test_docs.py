"""Every command and every option is in the documents, and what the README promises exists."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import pytest

from scan.cli.main import build_parser, main

ROOT = Path(__file__).parents[1]
PAGES = {
    path: path.read_text("utf-8") for path in (ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md")))
}


def commands() -> dict[str, argparse.ArgumentParser]:
    (choices,) = [a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction)]
    return dict(choices.choices)


@pytest.mark.parametrize("name", sorted(commands()))
def test_every_command_and_option_is_in_the_documents(name: str) -> None:
    text = "\n".join(PAGES.values())
    assert f"shortpencil {name}" in text
    for action in commands()[name]._actions:
        for option in action.option_strings:
            if option.startswith("--") and option != "--help":
                assert option in text, f"{name} {option}"


@pytest.mark.parametrize("name", sorted(commands()))
def test_help_shows_an_example(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main([name, "--help"])
    assert stop.value.code == 0
    assert f"Example: shortpencil {name}" in capsys.readouterr().out


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_and_pictures_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", PAGES[page]):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), f"{page.name}: {target}"
