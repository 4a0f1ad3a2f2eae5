"""Secrets that are made once and kept beside the data, for their owner alone."""

import os
import secrets
from pathlib import Path

_LETTERS = "bcdfghjkmnpqrstvwxz"  # no vowels, so that they make no words, and none that is read as another


def password() -> str:
    """Fourteen signs that can be read aloud and typed."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(3))


def read(path: Path) -> str | None:
    try:
        return path.read_text(encoding="ascii").strip() or None
    except (FileNotFoundError, UnicodeDecodeError):
        return None


def keep(path: Path, secret: str) -> None:
    aside = path.with_name(f".{path.name}")
    aside.unlink(missing_ok=True)
    with os.fdopen(os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
        file.write(f"{secret}\n")
    aside.replace(path)
