"""What is installed elsewhere: the wheel carries all it opens, one lock holds, no window is ever opened."""

import ast
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import cv2
import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
LOCK = (ROOT / ".ci" / "constraints.txt").read_text("utf-8")

#: OpenCV's high-level GUI (docs.opencv.org, module highgui): in the headless build each of these raises.
WINDOWS = [
    "addText",
    "createButton",
    "createTrackbar",
    "destroyAllWindows",
    "destroyWindow",
    "displayOverlay",
    "displayStatusBar",
    "getMouseWheelDelta",
    "getTrackbarPos",
    "getWindowImageRect",
    "getWindowProperty",
    "imshow",
    "moveWindow",
    "namedWindow",
    "pollKey",
    "resizeWindow",
    "selectROI",
    "selectROIs",
    "setMouseCallback",
    "setTrackbarMax",
    "setTrackbarMin",
    "setTrackbarPos",
    "setWindowProperty",
    "setWindowTitle",
    "startWindowThread",
    "waitKey",
    "waitKeyEx",
]


def windows_in(code: str) -> list[str]:
    """The calls of OpenCV's windows in Python source, by whatever name the module goes."""
    if not any(name in code for name in WINDOWS):
        return []
    nodes = list(ast.walk(ast.parse(code)))
    names = {node.attr for node in nodes if isinstance(node, ast.Attribute)}
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and node.module == "cv2":
            names |= {alias.name for alias in node.names}
    return sorted(names & set(WINDOWS))


def test_nothing_opens_a_window_of_opencv_so_its_headless_build_does() -> None:
    assert windows_in("import cv2 as c\nc.imshow('a', b)\nfrom cv2 import waitKey") == ["imshow", "waitKey"]
    assert [name for name in WINDOWS if hasattr(cv2, name)], "the list names functions of OpenCV"
    for top in ("forms", "scan", "tests"):
        for path in (ROOT / top).rglob("*.py"):
            assert windows_in(path.read_text("utf-8")) == [], path


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel built from a copy of the source, and unpacked: what an installer puts into site-packages."""
    work = tmp_path_factory.mktemp("wheel")
    source = work / "source"
    source.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    for name in ("forms", "scan", "sample_scans"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    build = "from setuptools import build_meta; print(build_meta.build_wheel('..'))"
    done = subprocess.run(
        [sys.executable, "-c", build], cwd=source, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    (wheel,) = work.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(work / "installed")
    return work / "installed"


def test_the_wheel_carries_every_file_of_the_rooms(unpacked: Path) -> None:
    for top in ("forms", "scan"):
        here = {
            p.relative_to(ROOT)
            for p in (ROOT / top).rglob("*")
            if p.is_file() and "__pycache__" not in p.parts
        }
        package = unpacked / "shortpencil"
        there = {p.relative_to(package) for p in (package / top).rglob("*") if p.is_file()}
        if top == "scan":  # the front door is installed around the rooms, under the name it is imported by
            door = {path for path in here if path.parts[1] == "shortpencil"}
            assert len(door) == 2
            there |= {path for path in door if (package / Path(*path.parts[2:])).is_file()}
        assert here - there == set()


def test_a_program_imports_shortpencil_from_the_wheel(unpacked: Path, tmp_path: Path) -> None:
    ask = "import shortpencil as s; print(s.__file__, len(s.print_card('c.pdf', 'short18', copies=2)))"
    done = subprocess.run(
        [sys.executable, "-c", ask],
        cwd=tmp_path,
        env={"PYTHONPATH": str(unpacked), "SHORTPENCIL_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == [str(unpacked / "shortpencil" / "__init__.py"), "2"]
    assert (tmp_path / "c.pdf").read_bytes().startswith(b"%PDF")


def test_the_wheel_carries_the_photos_of_the_demo(unpacked: Path, tmp_path: Path) -> None:
    ask = "from shortpencil.scan.cli.demo import _bundled_samples as s; print(s())"
    done = subprocess.run(
        [sys.executable, "-c", ask],
        cwd=tmp_path,
        env={"PYTHONPATH": str(unpacked)},
        capture_output=True,
        text=True,
        check=True,
    )
    found = Path(done.stdout.strip())
    assert found == unpacked / "shortpencil" / "sample_scans"
    photos = [p for p in (ROOT / "sample_scans").iterdir() if p.suffix in {".jpg", ".heic", ".pdf"}]
    assert len(photos) == 10
    for photo in photos:
        assert (found / photo.name).read_bytes() == photo.read_bytes()


def test_the_lock_holds_every_declared_package_of_set_up_and_tests() -> None:
    extras = PROJECT["project"]["optional-dependencies"]
    declared = [
        *PROJECT["build-system"]["requires"],
        *PROJECT["project"]["dependencies"],
        *(need for name in ("dev", "fast", "parquet", "postgres") for need in extras[name]),
    ]
    locked = {line.split("==")[0] for line in LOCK.splitlines() if "==" in line}
    for need in declared:
        name = re.match(r"[A-Za-z0-9_.-]+", need)
        assert name is not None
        assert name[0].lower() in locked, f"{need}: run bash .ci/relock"


def test_the_lock_names_no_place_to_download_from() -> None:
    assert "://" not in LOCK
    assert "--" not in LOCK
