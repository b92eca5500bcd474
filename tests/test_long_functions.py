"""A function of more than 40 lines has a reason: most of them are one list, one picture or one story."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[1]
MOST = 40

OPTIONS = "a list: the options of a command with their help"
KEYS = "a list: the keys of a published JSON or record, in its order"
CHECKS = "a list: one check after the other, each with its sentence"
PICTURE = "one picture, drawn in the order in which it is looked at"
STORY = "one story from top to bottom; its parts have no meaning apart"
TRANSACTION = "one transaction: what is written together stands together"
ARITHMETIC = "one computation, whose middle quantities all meet again at its end"

#: File -> function -> why it is longer.
REASONS = {
    "forms/field_map.py": {"_body": KEYS},
    "forms/layout.py": {"arrange": STORY},
    "forms/rules.py": {"rules_of": KEYS},
    "scan/cli/demo.py": {"_steps": STORY},
    "scan/cli/main.py": {"build_parser": OPTIONS},
    "scan/cli/moving.py": {"add_to": OPTIONS},
    "scan/cli/practice.py": {"add_to": OPTIONS},
    "scan/practice/as_json.py": {"focus_json": KEYS},
    "scan/advice.py": {"_advise": STORY},
    "scan/cli/printing.py": {"add_to": OPTIONS, "_print": STORY},
    "scan/cli/reading.py": {"add_to": OPTIONS, "_read": STORY, "_report": STORY},
    "scan/cli/review.py": {"add_to": OPTIONS},
    "scan/cli/stored.py": {"add_to": OPTIONS, "_import": STORY, "run_export": STORY, "_show_sheet": STORY},
    "scan/cli/season.py": {"add_to": OPTIONS, "run_season": STORY},
    "scan/practice/card.py": {"_session": PICTURE},
    "scan/practice/effect.py": {"_effect": ARITHMETIC},
    "scan/practice/history.py": {"columns_of": KEYS, "history_of": KEYS},
    "scan/practice/focus.py": {"focus_of": ARITHMETIC},
    "scan/practice/focus_charts.py": {"_cross": PICTURE},
    "scan/practice/phases.py": {"phases_of": ARITHMETIC},
    "scan/practice/plan.py": {"_notes": CHECKS, "plan_of": STORY, "_drill": CHECKS},
    "scan/practice/putting.py": {"fit_curve": ARITHMETIC},
    "scan/practice/rate_charts.py": {"time_chart": PICTURE, "putting_chart": PICTURE},
    "scan/practice/season_chart.py": {"_strip": PICTURE},
    "scan/practice/sheet.py": {"_plan": PICTURE},
    "scan/records/composing/compose.py": {"round_from_reading": KEYS},
    "scan/records/keeping/adding.py": {"add_reading": TRANSACTION, "add_checked": TRANSACTION},
    "scan/review/app.py": {"make_app": "a list: the routes"},
    "scan/review/guard.py": {"_pass_on": "three functions that share what they count while a request passes"},
    "scan/review/played.py": {"_throw": KEYS},
    "scan/review/serve.py": {"serve": STORY},
    "scan/vision/measuring.py": {"measure": "seeing, then doubting: the order is the point"},
    "scan/vision/pipeline.py": {"read_card": "the whole way of a card in one screenful"},
    "scan/vision/training/bubbles.py": {"main": STORY, "train": STORY},
    "scan/vision/training/export.py": {"onnx_bytes": "a list: the layers of the network"},
    "scan/vision/training/install.py": {"main": STORY},
    "scan/vision/training/patches.py": {"make": STORY, "_scrap": STORY, "write": STORY},
    "scan/vision/training/strokes.py": {"_four": "a list: the ways to write a 4"},
    "scan/vision/training/train.py": {"main": STORY},
}


def lines_of(node: ast.FunctionDef | ast.AsyncFunctionDef, text: list[str]) -> int:
    """Lines with code from `def` to the end: no docstring, no comment, no empty line."""
    documented = ast.get_docstring(node, clean=False) is not None
    docstring = range(node.body[0].lineno, (node.body[0].end_lineno or 0) + 1) if documented else range(0)
    return sum(
        bool(line.strip()) and not line.lstrip().startswith("#") and number not in docstring
        for number, line in enumerate(text[node.lineno - 1 : node.end_lineno], start=node.lineno)
    )


def long_functions() -> dict[tuple[str, str], int]:
    found = {}
    for path in (p for top in ("forms", "scan") for p in (ROOT / top).rglob("*.py")):
        text = path.read_text("utf-8")
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                count = lines_of(node, text.splitlines())
                if count > MOST:
                    found[path.relative_to(ROOT).as_posix(), node.name] = count
    return found


def test_no_function_is_long_without_a_reason() -> None:
    unexplained = {
        f"{file}: {name}": count
        for (file, name), count in long_functions().items()
        if name not in REASONS.get(file, {})
    }
    assert unexplained == {}, f"more than {MOST} lines: split it where a second idea begins, or say why not"


def test_a_line_that_says_nothing_to_the_machine_does_not_count() -> None:
    text = 'def f():\n    """One.\n\n    Two.\n    """\n    # why\n    x = 1\n\n    return x\n'
    (node,) = ast.parse(text).body
    assert isinstance(node, ast.FunctionDef)
    assert lines_of(node, text.splitlines()) == 3
