"""Quillmere Health, built once for all journeys, as a stranger would build it; each site is served from a copy, in a
data folder of its own and, where the tests run on servers, a database of its own."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

from tests.demonstrations import Served, environment
from tests.house.checkout import ROOT


@dataclass(frozen=True, slots=True)
class Built:
    """Served by nobody. `variables`: they name its database, where it is on a server."""

    folder: Path
    variables: Mapping[str, str]


@contextmanager
def built(folder: Path) -> Iterator[Built]:
    with _database("built") as variables:
        command = [sys.executable, "manage.py", "demo", "--no-serve"]
        ran = subprocess.run(command, cwd=ROOT, env=environment(folder) | variables, capture_output=True, text=True)
        assert ran.returncode == 0, ran.stderr
        yield Built(folder, variables)


@contextmanager
def copied(quillmere: Built, to: Path, name: str) -> Iterator[dict[str, str]]:
    """Into the folder, which is made; gives the variables that name the database of the copy."""
    shutil.copytree(quillmere.folder, to)
    with _database(name, quillmere.variables.get("DATABASE_URL")) as variables:
        yield variables


@contextmanager
def served(quillmere: Built, folder: Path) -> Iterator[Served]:
    with copied(quillmere, folder, "journeys") as more:
        site = Served(folder, more=more)
        try:
            yield site
        finally:
            site.end_at_once()


@contextmanager
def _database(name: str, like: str | None = None) -> Iterator[dict[str, str]]:
    """One beside that of the tests, empty or like another one; none where the tests are embedded."""
    address = os.environ.get("DATABASE_URL")
    if not address:
        yield {}
        return
    import psycopg

    parts = urlsplit(address)
    own = f"test_{parts.path.strip('/')}_{name}_{os.getpid()}"
    with psycopg.connect(address, autocommit=True) as connection:
        template = "" if like is None else f' TEMPLATE "{urlsplit(like).path.strip("/")}"'
        connection.execute(f'CREATE DATABASE "{own}"{template}')
        try:
            key = os.environ["PMCORE_SECRET_KEY"]
            yield {"DATABASE_URL": urlunsplit(parts._replace(path=f"/{own}")), "PMCORE_SECRET_KEY": key}
        finally:
            connection.execute(f'DROP DATABASE "{own}" WITH (FORCE)')
