"""The arrows between the rooms: who may import whom. Walks every module's syntax tree, so a lazy import counts too."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("vision", "homography", "tagger", "demo_clips", "models")

BELOW = ("homography", "vision")

# What each room may import of the project, the longest fitting prefix counts.
MAY_IMPORT = {
    "vision": ("vision",),
    "homography": ("homography", "vision.types", "vision.video"),
    "tagger.football": ("tagger.football", "homography.field", "homography.types", "vision.types", "models"),
    "tagger.library": ("tagger.library", "tagger.football", "homography.field", "homography.types", "vision.types"),
    "tagger.options": ("tagger.football", "vision.detector"),
    "tagger.people": BELOW,
    "tagger.spliced": BELOW,
    "tagger.watching": ("tagger.options", *BELOW),
    "tagger.inspection": ("tagger.options", "tagger.people", "tagger.watching", *BELOW),
    "tagger.pipeline": ("tagger.football", "tagger.options", "tagger.people", "tagger.spliced", "tagger.watching", *BELOW),
    "tagger.two_views": ("tagger.football", "tagger.options", "tagger.people", "tagger.pipeline", *BELOW),
    "tagger.calibration": ("tagger.calibration", "tagger.library", "tagger.football", "vision.types"),
    "tagger.cutups": ("tagger.cutups", "tagger.pipeline", "tagger.library", "tagger.football", "homography", "vision"),
    "tagger.review": (
        "tagger.review", "tagger.cutups", "tagger.options", "tagger.people", "tagger.pipeline", "tagger.two_views",
        "tagger.library", "tagger.football", *BELOW),
    "tagger.batch": (
        "tagger.batch", "tagger.cutups", "tagger.options", "tagger.pipeline", "tagger.two_views", "tagger.library",
        "tagger.football", *BELOW),
    "tagger.cli": ("tagger", "homography", "vision", "models", "demo_clips"),
    "demo_clips": ("demo_clips", "vision.types", "homography.field", "tagger.football.vocabulary"),
    "models": (),
}

# Third-party packages with one owner.
OWNERS = {
    "ultralytics": ("vision.detector", "vision.training"),
    "onnxruntime": ("vision.detector", "vision.sights"),
    "filterpy": ("vision.kalman",),
    "av": ("vision.video", "tagger.cutups", "demo_clips"),
    "sqlite3": ("tagger.library",),
    "click": ("tagger.cli",),
    "rich": ("tagger.cli",),
    "fastapi": ("tagger.review",),
    "uvicorn": ("tagger.review",),
    "jinja2": ("tagger.review", "tagger.cutups", "tagger.batch"),
    "opentimelineio": ("tagger.cutups",),
    "matplotlib": ("tagger.cutups", "homography.yard_numbers"),
    "distributed": ("tagger.batch",),
    "psutil": ("tagger.batch",),
}
FORBIDDEN_IN_FOOTBALL = {"cv2", "sqlite3", "av", "time", "datetime", "os", "pathlib", "io", "random"}
BANNED_FILE_NAMES = {"utils", "helpers", "common", "core", "misc", "manager"}


def modules() -> list[tuple[str, Path]]:
    """Every module of the product as (dotted name, path)."""
    found = []
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found.append((".".join(parts[:-1] if parts[-1] == "__init__" else parts), path))
    return found


def imports(path: Path, name: str) -> set[str]:
    """Absolute dotted names that a module imports, relative ones resolved."""
    package = name if path.name == "__init__.py" else name.rpartition(".")[0]
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                stem = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*stem, base] if base else stem)
            found |= {f"{base}.{alias.name}" for alias in node.names}
    return found


def starts(dotted: str, prefix: str) -> bool:
    return dotted == prefix or dotted.startswith(prefix + ".")


def room_of(name: str) -> str | None:
    fits = [room for room in MAY_IMPORT if starts(name, room)]
    return max(fits, key=len) if fits else None


ALL = modules()


@pytest.mark.parametrize(("name", "path"), ALL, ids=[name for name, _ in ALL])
def test_arrows_point_down(name: str, path: Path) -> None:
    room = room_of(name)
    for target in imports(path, name):
        top = target.split(".")[0]
        if top in ROOMS and room is not None:
            assert any(starts(target, allowed) for allowed in MAY_IMPORT[room]), f"{name} imports {target}"
        if top in OWNERS:
            assert any(starts(name, owner) for owner in OWNERS[top]), f"{name} imports {target}, owned by {OWNERS[top]}"
        if starts(name, "tagger.football"):
            assert top not in FORBIDDEN_IN_FOOTBALL, f"football is pure, {name} imports {target}"


def test_nothing_imports_the_command_line() -> None:
    for name, path in ALL:
        if not starts(name, "tagger.cli"):
            assert not any(starts(target, "tagger.cli") for target in imports(path, name)), name


def test_file_names_say_something() -> None:
    for _, path in ALL:
        assert path.stem not in BANNED_FILE_NAMES, path


def test_init_files_only_re_export() -> None:
    for name, path in ALL:
        if path.name == "__init__.py" and name != "models":
            for node in ast.parse(path.read_text()).body:
                docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
                names = isinstance(node, ast.Assign) and all(isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets)
                assert docstring or names or isinstance(node, ast.ImportFrom | ast.Import), f"{name}: code in __init__"
