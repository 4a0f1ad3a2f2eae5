"""Brings device classes in from a published table of product codes."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from pmcore import clock
from pmcore.management.arguments import day, earliest_today
from pmcore.management.checked import CheckedCommand
from pmcore.management.importing import Bar, add_who, who
from pmcore.services.import_classes import ClassReport, NoClassTable, import_classes
from pmcore.services.refusals import RecordRefused

_MOST_LISTED = 200


class Command(CheckedCommand):
    help = "Bring device classes in from the FDA's product classification table (foiclass.txt)."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--from-on", type=day, metavar="DAY", help="from when it counts (default: today)")
        parser.add_argument("--dry-run", action="store_true", help="say what would happen, and write nothing")
        add_who(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        at = clock.now()
        from_on = options["from_on"] or earliest_today(at)
        bar = Bar(self.stderr, None)
        try:
            with options["file"].open("rb") as file:
                report = import_classes(
                    file,
                    from_on=from_on,
                    actor=who(options, at.date()),
                    at=at,
                    dry_run=options["dry_run"],
                    progress=bar,
                )
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be read: {error.strerror}.") from error
        except (NoClassTable, RecordRefused) as refused:
            raise CommandError(str(refused)) from refused
        bar.end()
        self._tell(report, dry_run=options["dry_run"])

    def _tell(self, report: ClassReport, *, dry_run: bool) -> None:
        for number, reason in list(report.refused.items())[:_MOST_LISTED]:
            self.stdout.write(f"line {number}: {reason} (refused)")
        told = f"{report.added:,} added, {report.changed:,} changed, {report.there:,} already there"
        begun = "Nothing was written. It would be" if dry_run else "Done"
        self.stdout.write(f"{begun}: {told}, {len(report.refused):,} refused.")
        if report.refused:
            raise CommandError("Not every line is in the record; the reasons stand above.", returncode=1)
