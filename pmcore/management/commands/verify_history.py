"""Checks every entry, row and text of the record against its history."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from pmcore.queries.verification import Report, verify


class Command(BaseCommand):
    help = "Render every entry again from its rows; name whatever does not match. Exit status 1 if anything."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--quiet", action="store_true", help="print no progress")

    def handle(self, *args: Any, **options: Any) -> None:
        report = verify(None if options["quiet"] else self._progress)
        if not options["quiet"]:
            self.stderr.write("")
        self._say(report)
        if not report.sound:
            raise SystemExit(1)

    def _progress(self, done: int, size: int) -> None:
        share = f"{100 * done // size} %" if size else "nothing to do"
        self.stderr.write(f"\r{done:,} of {size:,} entries ({share})", ending="")
        self.stderr.flush()

    def _say(self, report: Report) -> None:
        for fault in report.faults:
            self.stdout.write(f"{fault}")
        counted = f"{report.size:,} entries, {report.rows:,} rows and {report.texts:,} texts"
        if report.sound:
            self.stdout.write(f"The record is what its history says: {counted}. Root {report.root}.")
        else:
            self.stdout.write(f"The record does not match its history: {len(report.faults)} faults in {counted}.")
