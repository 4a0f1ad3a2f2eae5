"""The compliance figure: the sentence, the table and the lists, as pages and interface give them."""

from typing import Any

from django.core.management.base import CommandError, CommandParser

from pmcore import clock, wording
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Grouping, PlanBasis, RiskClass
from pmcore.management.arguments import day, earliest_today, month, sites_labelled
from pmcore.management.checked import CheckedCommand
from pmcore.queries.asked import AskedRefused
from pmcore.queries.compliance import ComplianceFilter, ComplianceReport, compliance
from pmcore.queries.figure_changes import FigureChange, figure_changes
from pmcore.queries.head import head

_MOST_LISTED = 20


class Command(CheckedCommand):
    help = "How many of the inspections whose windows closed in a period were met, and what stands beside."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--period", type=month, metavar="YYYY-MM", help="a month; else --from and --to")
        parser.add_argument("--from", type=day, dest="starts_on", metavar="DAY", help="first day of the period")
        parser.add_argument("--to", type=day, dest="ends_on", metavar="DAY", help="last day of the period")
        parser.add_argument("--as-of", type=day, metavar="DAY", help="the day it is told for (default: today)")
        parser.add_argument("--known", type=int, metavar="SIZE", help="how many entries count (default: all)")
        parser.add_argument("--by", type=Grouping, choices=list(Grouping), help="split it by this")
        parser.add_argument("--site", action="append", metavar="LABEL", help="only this site; may be repeated")
        parser.add_argument("--risk", action="append", type=RiskClass, choices=list(RiskClass), help="only this class")
        parser.add_argument("--basis", action="append", type=PlanBasis, choices=list(PlanBasis), help="only this basis")
        parser.add_argument("--all", action="store_true", help=f"list every name, not only the first {_MOST_LISTED}")
        parser.add_argument(
            "--since", type=int, metavar="SIZE", help="say which entries changed the figure since the history had SIZE"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        at = clock.now()
        today = earliest_today(at)
        as_of, known = options["as_of"] or today, head().size if options["known"] is None else options["known"]
        try:
            asked = self._asked(options, at.date())
            report = compliance(asked, as_of=as_of, known=known, today=today, actor=SYSTEM, group_by=options["by"])
            self._tell(report, None if options["all"] else _MOST_LISTED)
            if options["since"] is not None:
                self._explain(
                    figure_changes(asked, as_of=as_of, known=known, before=options["since"], today=today, actor=SYSTEM)
                )
        except AskedRefused as refusal:
            raise CommandError(str(refusal)) from refusal

    def _asked(self, options: dict[str, Any], on: Any) -> ComplianceFilter:
        by_month, by_days = options["period"], (options["starts_on"], options["ends_on"])
        if (by_month is None) == (by_days == (None, None)) or None in (by_month or by_days):
            raise CommandError("Say which period: --period 2026-09, or both --from and --to.")
        starts_on, ends_on = by_month or by_days
        sites = sites_labelled(options["site"], on) if options["site"] else None
        return ComplianceFilter(
            starts_on,
            ends_on,
            sites=None if sites is None else frozenset(site.site for site in sites),
            risk_classes=frozenset(options["risk"]) if options["risk"] else None,
            bases=frozenset(options["basis"]) if options["basis"] else None,
        )

    def _tell(self, report: ComplianceReport, most: int | None) -> None:
        say = self.stdout.write
        say(wording.sentence(report))
        say(f"As of {report.as_of}, as known when the record had {report.known:,} entries.")
        say("")
        for line in wording.table(report):
            say(line)
        say("")
        say(f"Devices with a plan, or signed to need none: {wording.share_words(report.coverage.share)}.")
        say(f"Devices with everything met, of those with anything due: {wording.share_words(report.devices)}.")
        say(f"Overdue on {report.as_of}, of the devices under a plan: {wording.share_words(report.census)}.")
        for heading, lines in wording.lists(report):
            say(f"\n{heading}: {len(lines)}")
            for line in lines[:most]:
                say(f"  {line}")
            if most is not None and len(lines) > most:
                say(f"  … and {len(lines) - most} more (--all lists them)")

    def _explain(self, changes: list[FigureChange]) -> None:
        self.stdout.write(f"\nWhat changed since then: {len(changes)}")
        for line in map(wording.change, changes):
            self.stdout.write(f"  {line}")
