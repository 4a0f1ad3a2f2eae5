"""Checks every entry, row and text of the record against its history."""

from functools import partial
from typing import Any

from django.core.management.base import CommandParser

from pmcore.management.checked import CheckedCommand
from pmcore.queries.faults import Report
from pmcore.queries.verification import verify


class Command(CheckedCommand):
    help = "Render every entry again from its rows; name whatever does not match. Exit status 1 if anything."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--quiet", action="store_true", help="print no progress")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["quiet"]:
            report = verify()
        else:
            report = verify(partial(self._progress, "entries"), partial(self._progress, "attached files"))
            self.stderr.write("")  # ends the line of progress
        self._say(report)
        if not report.sound:
            raise SystemExit(1)

    def _progress(self, what: str, done: int, count: int) -> None:
        share = f"{100 * done // count} %" if count else "nothing to do"
        self.stderr.write(f"\r{done:,} of {count:,} {what} ({share})", ending="")
        self.stderr.flush()

    def _say(self, report: Report) -> None:
        for fault in report.faults:
            self.stdout.write(f"{fault}")
        counted = f"entries {report.size:,}, rows {report.rows:,}, texts {report.texts:,}"
        if report.sound:
            self.stdout.write(f"The record is what its history says: {counted}. Root {report.root}.")
        else:
            self.stdout.write(f"The record does not match its history: faults {len(report.faults)}; {counted}.")
