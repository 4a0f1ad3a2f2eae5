"""Quillmere Health built and served for the journeys, as a stranger would start it, in a data folder of its own and,
where the tests run on servers, a database of its own."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

from tests.demonstrations import Served


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    with _database() as more:
        site = Served(folder, more=more)
        try:
            yield site
        finally:
            site.end_at_once()


@contextmanager
def _database() -> Iterator[dict[str, str]]:
    address = os.environ.get("DATABASE_URL")
    if not address:
        yield {}
        return
    import psycopg

    parts = urlsplit(address)
    name = f"test_{parts.path.strip('/')}_journeys_{os.getpid()}"
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
        try:
            key = os.environ["PMCORE_SECRET_KEY"]
            yield {"DATABASE_URL": urlunsplit(parts._replace(path=f"/{name}")), "PMCORE_SECRET_KEY": key}
        finally:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
