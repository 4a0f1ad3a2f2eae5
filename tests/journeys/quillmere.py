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
    with database("journeys") as more:
        site = Served(folder, more=more)
        try:
            yield site
        finally:
            site.end_at_once()


@contextmanager
def database(of: str) -> Iterator[dict[str, str]]:
    """Variables that name a database of its own beside that of the tests; none where the tests are embedded."""
    address = os.environ.get("DATABASE_URL")
    if not address:
        yield {}
        return
    import psycopg

    parts = urlsplit(address)
    name = f"test_{parts.path.strip('/')}_{of}_{os.getpid()}"
    with psycopg.connect(address, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
        try:
            key = os.environ["PMCORE_SECRET_KEY"]
            yield {"DATABASE_URL": urlunsplit(parts._replace(path=f"/{name}")), "PMCORE_SECRET_KEY": key}
        finally:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
