"""Turns plans into due inspections, as the hourly sweep does."""

from typing import Any

from django.core.management.base import CommandParser

from pmcore import clock
from pmcore.management.arguments import day, sites_labelled
from pmcore.management.checked import CheckedCommand
from pmcore.queries.sites import SiteOnADay
from pmcore.services.generate_due import Call, Generated, generate_due


class Command(CheckedCommand):
    help = "Append the due inspections that the plans call for, and withdraw what they call for no more."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--as-of", type=day, metavar="DAY", help="the day to generate for (default: each site's today)"
        )
        parser.add_argument(
            "--site", action="append", metavar="LABEL", help="only this site; may be given several times"
        )
        parser.add_argument("--dry-run", action="store_true", help="say what would be added and why; write nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        at = clock.now()
        for site in sites_labelled(options["site"], at.date()):
            as_of = options["as_of"] or clock.today(at, site.time_zone)
            generated = generate_due(site=site.site, as_of=as_of, at=at, dry_run=options["dry_run"])
            self._say(site, generated, explain=options["dry_run"])

    def _say(self, site: SiteOnADay, generated: Generated, *, explain: bool) -> None:
        if explain:
            for call in generated.calls:
                self.stdout.write(_explained(call))
        verb = "would be " if explain else ""
        self.stdout.write(
            f"{site.name}, {generated.as_of}: {generated.added} due inspections {verb}added, "
            f"{generated.withdrawn} {verb}withdrawn."
        )


def _explained(call: Call) -> str:
    days = ", ".join(f"{due.due_on} ({due.opens_on} to {due.closes_on})" for due in call.change.add)
    rule = call.terms.rule
    added = f"due {days}, {rule.basis} every {rule.every} {rule.unit}" if days else "nothing to add"
    gone = f"; {len(call.change.withdraw)} no longer called for" if call.change.withdraw else ""
    return f"  device {call.device}, plan {call.terms.plan} ({call.terms.name}): {added}{gone}"
