"""An export that was asked for and built, its pack laid out in a folder, and the verifier run over it."""

import contextlib
import datetime as dt
import io
import subprocess
import sys
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.db import connection

from pmcore import tasks
from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import Role
from pmcore.export_pack import verify_export
from pmcore.models import Job, guards
from pmcore.queries.exports import ExportTold, export_for
from pmcore.services.exports import ask_export

NOW = dt.datetime(2026, 10, 31, 12, tzinfo=dt.UTC)
EVERYBODYS = Actor(None, Role.AUDITOR, None)

__all__ = ["SYSTEM"]


def built(actor: Actor = EVERYBODYS, **asked: Any) -> ExportTold:
    """The export as it stands after a worker had it."""
    export = ask_export(actor=actor, at=NOW, **asked)
    tasks.run_job(export)
    told = export_for(export, actor)
    assert told is not None
    return told


def done(actor: Actor = EVERYBODYS, **asked: Any) -> ExportTold:
    told = built(actor, **asked)
    assert (told.state, told.error, Job.objects.get(pk=told.id).error) == ("done", "", "")
    return told


def unpacked(told: ExportTold, folder: Path) -> Path:
    with zipfile.ZipFile(told.folder / "pack.zip") as pack:
        pack.extractall(folder)
    return folder


def verdict(folder: Path, *options: str) -> tuple[int, str]:
    """Status and last line, from a run within this process."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        status = verify_export.main(["--folder", str(folder), *options])
    return status, said.getvalue().rstrip("\n").rpartition("\n")[2]


def run_alone(folder: Path, *options: str) -> "subprocess.CompletedProcess[str]":
    """As an auditor runs it: in its folder, without anything but the standard library."""
    command: Sequence[str] = [sys.executable, "-I", "-S", "verify_export.py", *options]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)


def alter(statement: str, *arguments: Any) -> None:
    """As somebody would who gets past the guards of the record."""
    guards.take_down(connection)
    with connection.cursor() as cursor:
        cursor.execute(statement, arguments)
        assert cursor.rowcount
