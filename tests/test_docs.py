"""Every command and every option is in the documents, and what the README promises exists."""

from __future__ import annotations

import argparse
import json
import re
from pathlib import Path

import pytest

from shortpencil.forms.catalog import builtin_layout
from shortpencil.forms.field_map import layout_to_json
from shortpencil.scan.cli.main import build_parser, main

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


def _names_in(text: str) -> set[str]:
    """Files of the code that a text names, and modules, the latter as the file or folder they are."""
    paths = set(re.findall(r"\b(?:forms|scan|tests)/[\w/]+\.(?:py|json(?:\.xz)?|onnx|npz|toml|txt)\b", text))
    modules = set(re.findall(r"(?<![\w./-])(?:scan|tests)(?:\.[a-z_]+)+", text))
    return paths | {module.replace(".", "/") for module in modules}


@pytest.mark.parametrize("page", [*PAGES, ROOT / "DEVELOPERS.md"], ids=lambda p: p.name)
def test_every_file_and_module_that_a_page_names_exists(page: Path) -> None:
    for name in sorted(_names_in(page.read_text("utf-8"))):
        path = ROOT / name
        # `module.name_in_it` is as good as `module`
        found = path.exists() or path.with_suffix(".py").exists() or path.parent.with_suffix(".py").exists()
        assert found, f"{page.name} names {name}"


def test_the_figures_of_the_example_are_those_of_the_card() -> None:
    example = json.loads(
        re.findall(r"```json\n(.*?)```", PAGES[ROOT / "docs" / "field-map.md"], re.DOTALL)[0]
    )
    true = json.loads(layout_to_json(builtin_layout("round18", "a4", "m", "right")))
    for key, value in example.items():
        if isinstance(value, list):  # some of them
            assert all(one in true[key] for one in value), key
        elif key == "fields":
            assert value.items() <= true[key].items()
        else:
            assert true[key] == value, key
