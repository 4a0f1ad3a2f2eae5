"""Brings an inventory in from a file."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from pmcore import clock
from pmcore.management.arguments import earliest_today
from pmcore.management.checked import CheckedCommand
from pmcore.management.importing import Bar, add_who, who
from pmcore.services.inventory.bring_in import Report, bring_in
from pmcore.services.inventory.checked import DateOrder, check_order
from pmcore.services.inventory.columns import COLUMNS, delimiter_finder, heading_of, plain
from pmcore.services.inventory.files import DELIMITERS, UnreadableFile, read_lines
from pmcore.services.refusals import RecordRefused


class Command(CheckedCommand):
    help = "Bring an inventory in from a CSV file or a workbook (.xlsx); docs/importing.md names the columns."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--dry-run", action="store_true", help="say what would happen, and write nothing")
        parser.add_argument("--all-or-nothing", action="store_true", help="write nothing where a line is refused")
        parser.add_argument("--map", action="append", default=[], metavar="OUR=THEIRS", help="a column's other name")
        parser.add_argument("--date-order", type=DateOrder, choices=list(DateOrder), help="how 03/04/2026 is read")
        parser.add_argument("--encoding", default="utf-8", help="of a CSV file (default: utf-8)")
        parser.add_argument("--delimiter", choices=list(DELIMITERS), help="of a CSV file (default: found in it)")
        add_who(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        at = clock.now()
        asked = {
            "today": earliest_today(at),
            "order": options["date_order"],
            "actor": who(options, at.date()),
            "at": at,
        }
        try:
            report = self._bring(options, asked, dry_run=options["dry_run"] or options["all_or_nothing"])
            if options["all_or_nothing"] and not options["dry_run"] and report.is_whole:
                report = self._bring(options, asked, dry_run=False)
        except (UnreadableFile, RecordRefused) as refused:
            raise CommandError(str(refused)) from refused
        held_back = options["all_or_nothing"] and not report.is_whole
        self._tell(report, nothing=options["dry_run"] or held_back)
        if held_back:
            self.stdout.write("Mend the lines above, or leave --all-or-nothing out to bring the others in.")
        if not report.is_whole:
            raise CommandError("Not every line is in the record; the reasons stand above.", returncode=1)

    def _bring(self, options: dict[str, Any], asked: dict[str, Any], *, dry_run: bool) -> Report:
        renamed = _renamed(options["map"])
        delimiter = DELIMITERS.get(options["delimiter"]) if options["delimiter"] else None
        find = delimiter_finder(delimiter, renamed)
        path = options["file"]
        # Read once before: a bar needs an end, and a file that breaks off or mixes its dates brings nothing in.
        lines, count = read_lines(path, encoding=options["encoding"], delimiter=find), 0
        heading = heading_of(next(lines).cells, renamed)
        for count, line in enumerate(lines, 1):  # noqa: B007
            check_order(line, heading, asked["order"])
        lines = read_lines(path, encoding=options["encoding"], delimiter=find)
        next(lines)
        bar = Bar(self.stderr, count)
        report = bring_in(lines, heading, dry_run=dry_run, progress=bar, **asked)
        bar.end()
        return report

    def _tell(self, report: Report, *, nothing: bool) -> None:
        say = self.stdout.write
        for line in report.lines:
            for column, reason in line.faults.items():
                say(f"line {line.number}, {column}: {reason} ({line.outcome})")
        counts = ", ".join(f"{count:,} {outcome}" for outcome, count in report.counts.items() if count)
        say(f"{'Nothing was written. It would be' if nothing else 'Done'}: {counts or 'no line'}.")
        if report.models:
            say(f"New models: {', '.join(report.models)}.")


def _renamed(given: list[str]) -> dict[str, str]:
    """Raises CommandError."""
    renamed = {}
    for text in given:
        our, sign, theirs = text.partition("=")
        name = plain(our)
        if not sign or not theirs.strip() or not (name in COLUMNS or name.startswith("last done:")):
            raise CommandError(f"--map {text!r}: write OUR=THEIRS, with one of {', '.join(COLUMNS)} before the sign.")
        renamed[name] = theirs.strip()
    return renamed
