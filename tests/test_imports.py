"""Imports go one way between the rooms, and a command starts without the libraries it does not need."""

import ast
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

#: A room may use itself and the rooms before it.
ROOMS = [
    "shortpencil.scan.language",
    "shortpencil.forms",
    "shortpencil.scan.places",
    "shortpencil.scan.reading",
    "shortpencil.scan.asking",
    "shortpencil.scan.vision.arrays",
    "shortpencil.scan.vision.per_layout",
    "shortpencil.scan.vision.evidence",
    "shortpencil.scan.vision.opening",
    "shortpencil.scan.vision.finding",
    "shortpencil.scan.vision.flattening",
    "shortpencil.scan.vision.seeing",
    "shortpencil.scan.vision.doubting",
    "shortpencil.scan.vision.weighing",
    "shortpencil.scan.vision.deciding",
    "shortpencil.scan.vision.joining",
    "shortpencil.scan.vision",
    "shortpencil.scan.records.composing",
    "shortpencil.scan.records.recording",
    "shortpencil.scan.records.exchanging",
    "shortpencil.scan.records.concluding",
    "shortpencil.scan.records.storing",
    "shortpencil.scan.records.belonging",
    "shortpencil.scan.records.keeping",
    "shortpencil.scan.records",
    "shortpencil.scan.courses",
    "shortpencil.scan.evening",
    "shortpencil.scan.leftovers",
    "shortpencil.scan.unfinished",
    "shortpencil.scan.limits",
    "shortpencil.scan.file_pages",
    "shortpencil.scan.worker",
    "shortpencil.scan.crew",
    "shortpencil.scan.sources",
    "shortpencil.scan.intake",
    "shortpencil.scan.cluster",
    "shortpencil.scan.joining",
    "shortpencil.scan.review",
    "shortpencil.scan.practice",
    "shortpencil.scan.printing",
    "shortpencil.scan.advice",
    "shortpencil.scan.group_advice",
    "shortpencil.scan.front_door",
    "shortpencil.scan.shortpencil",
    "shortpencil.scan.cli",
]
STRANGERS = {
    ("shortpencil.scan.review", "shortpencil.scan.practice"),
    ("shortpencil.scan.practice", "shortpencil.scan.review"),
    ("shortpencil.scan.practice", "shortpencil.scan.intake"),
    # Deciding knows cells and their likelihoods, not how a photo shows them.
    *(
        (deciding, picture)
        for deciding in ("shortpencil.scan.vision.weighing", "shortpencil.scan.vision.deciding")
        for picture in (
            "shortpencil.scan.vision.opening",
            "shortpencil.scan.vision.finding",
            "shortpencil.scan.vision.flattening",
            "shortpencil.scan.vision.doubting",
        )
    ),
    ("shortpencil.scan.vision.weighing", "shortpencil.scan.vision.seeing"),
    # What is kept does not hang on the files that others give and get.
    *(
        (f"shortpencil.scan.records.{room}", "shortpencil.scan.records.exchanging")
        for room in ("concluding", "storing", "belonging", "keeping")
    ),
}

#: Each heavy library has one room.
HOMES = {
    "cv2": (
        *(
            f"scan/vision/{room}"
            for room in ("opening", "finding", "flattening", "seeing", "doubting", "joining", "training")
        ),
        "scan/vision/arrays.py",
        "scan/vision/overlay.py",
        "scan/vision/warm.py",
        "scan/worker.py",
    ),
    "zxingcpp": ("scan/vision/finding/codes.py",),
    "pytesseract": ("scan/vision/finding/codes.py",),
    "pillow_heif": ("scan/vision/opening/photo.py",),
    "reportlab": ("forms/pdf.py", "scan/practice"),
    "segno": ("forms/pdf.py", "scan/review/links.py"),
    "starlette": tuple(
        f"scan/review/{name}.py"
        for name in ("app", "desk", "asked", "about", "keeping", "glance_pages", "who_pages", "year", "doing")
    ),
    "sqlalchemy": ("scan/records/storing", "scan/records/belonging", "scan/records/keeping"),
    "scipy": ("scan/practice/special.py", "scan/practice/effect.py"),
    "distributed": ("scan/cluster.py",),
    "fsspec": ("scan/sources.py",),
    "jinja2": ("scan/review/rendering.py",),
    "uvicorn": ("scan/review/serve.py", "scan/review/connections.py"),
}


@cache
def modules() -> list[tuple[str, Path]]:
    files = sorted(path for top in ("forms", "scan") for path in (ROOT / top).rglob("*.py"))
    names = (".".join(("shortpencil", *p.relative_to(ROOT).with_suffix("").parts)) for p in files)
    return [(name.removesuffix(".__init__"), path) for name, path in zip(names, files, strict=True)]


def room_of(module: str) -> str | None:
    fitting = [room for room in ROOMS if module == room or module.startswith(f"{room}.")]
    return max(fitting, key=len) if fitting else None


@cache  # every rule asks every file
def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module)
    return found


@pytest.mark.parametrize(("module", "path"), modules(), ids=lambda v: v if isinstance(v, str) else "")
def test_a_room_uses_only_the_rooms_before_it(module: str, path: Path) -> None:
    here = room_of(module)
    if here is None:
        return
    for imported in imports_of(path):
        there = room_of(imported)
        if there is not None:
            assert ROOMS.index(there) <= ROOMS.index(here), f"{module} must not import {imported}"
            assert (here, there) not in STRANGERS, f"{module} must not import {imported}"


def test_every_folder_is_a_room_of_its_own() -> None:
    """A folder that nobody listed would count as the last of its house, which may use all of it."""
    folders = {
        name.removesuffix(".__init__") if path.name == "__init__.py" else name.rpartition(".")[0]
        for name, path in modules()
    }
    known = {*ROOMS, "shortpencil.scan", "shortpencil.scan.vision.training"}  # the latter is run by hand
    known |= {"shortpencil.forms.builtin", "shortpencil.forms.fonts"}  # no code
    assert folders <= known
    unlisted = [name for name, _ in modules() if room_of(name) is None]
    assert unlisted == ["shortpencil.scan"]


def imported_files(path: Path) -> set[str]:
    """The files of this project that a file takes names from, also those named for annotations alone."""
    names = {name for name, _ in modules()}
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            inside = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= inside & names or {node.module} & names
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names} & names
    return found


def circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """The circles in which files import each other: what is left where those that import nothing are gone."""
    left = {name: set(others) for name, others in graph.items()}
    while True:
        done = {name for name, others in left.items() if not others & left.keys()}
        done |= left.keys() - {other for others in left.values() for other in others}
        if not done:
            return [sorted(left)] if left else []
        left = {name: others for name, others in left.items() if name not in done}


def test_no_files_import_each_other_in_a_circle() -> None:
    """Not for annotations either: what each of them needs then lies in none of them."""
    assert circles({name: imported_files(path) - {name} for name, path in modules()}) == []
    assert circles({"a": {"b"}, "b": {"c", "d"}, "c": {"a"}, "d": set(), "e": {"a"}}) == [["a", "b", "c"]]


@pytest.mark.parametrize("library", HOMES)
def test_a_heavy_library_has_one_room(library: str) -> None:
    users = [
        str(path.relative_to(ROOT))
        for _, path in modules()
        if any(name == library or name.startswith(f"{library}.") for name in imports_of(path))
    ]
    assert users, f"nothing imports {library}: is the rule still needed?"
    for user in users:
        assert user.startswith(HOMES[library]), f"{user} imports {library}"


def test_nothing_imports_the_training_scripts() -> None:
    for module, path in modules():
        if not module.startswith("shortpencil.scan.vision.training"):
            assert not any(
                name.startswith("shortpencil.scan.vision.training") for name in imports_of(path)
            ), module


HEAVY = {
    "cv2",
    "numpy",
    "scipy",
    "sqlalchemy",
    "reportlab",
    "PIL",
    "jsonschema",
    "pytesseract",
    "zxingcpp",
    "segno",
}


def test_building_the_command_line_loads_no_heavy_library() -> None:
    code = (
        "import sys; from shortpencil.scan.cli.main import build_parser; build_parser(); "
        f"print(' '.join(sorted({HEAVY!r} & set(sys.modules))))"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == ""


def test_deciding_loads_no_library_of_pictures() -> None:
    code = (
        "import sys; import shortpencil.scan.vision.deciding.decode; "
        "print(' '.join(sorted({'cv2', 'PIL', 'onnxruntime', 'zxingcpp'} & set(sys.modules))))"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == ""


def test_the_start_up_check_can_fail() -> None:
    code = f"import sys; import numpy; print(' '.join(sorted({HEAVY!r} & set(sys.modules))))"
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "numpy" in run.stdout
