"""What stands in the checkout, without what tools and runs leave there."""

import os
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
_LEFT_BY_RUNS = {".git", "__pycache__", ".hypothesis", "data", "node_modules"}


def files() -> Iterator[Path]:
    for folder, below, names in os.walk(ROOT):
        here = Path(folder)
        below[:] = [name for name in below if not _is_left_by_runs(here / name)]
        yield from (here / name for name in names)


def python_files() -> Iterator[Path]:
    return (path for path in files() if path.suffix == ".py")


def source_files() -> Iterator[Path]:
    """What runs in production: neither tests nor migrations."""
    return (path for path in python_files() if not is_under(path, "tests") and "migrations" not in path.parts)


def is_under(path: Path, folder: str) -> bool:
    return path.is_relative_to(ROOT / folder)


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def _is_left_by_runs(folder: Path) -> bool:
    is_cache = folder.name.startswith(".") and folder.name.endswith("_cache")
    return is_cache or folder.name in _LEFT_BY_RUNS or (folder / "pyvenv.cfg").exists()
