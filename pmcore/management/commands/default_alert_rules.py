"""Makes the rules by which people are told, where there are none yet."""

from typing import Any

from django.core.management.base import CommandError

from pmcore import clock
from pmcore.engines.records import SYSTEM
from pmcore.management.checked import CheckedCommand
from pmcore.services.alert_rules import make_default_rules
from pmcore.services.plan_rules import today_at
from pmcore.services.refusals import RecordBusy


class Command(CheckedCommand):
    help = "Make an alert rule of each kind of which there is none yet, at every site; twice adds nothing."

    def handle(self, *args: Any, **options: Any) -> None:
        at = clock.now()
        try:
            made = make_default_rules(from_on=today_at(at), actor=SYSTEM, at=at)
        except RecordBusy as busy:
            raise CommandError(str(busy)) from busy
        self.stdout.write(f"{len(made)} rules made." if made else "There is a rule of each kind already.")
