"""Makes a token for the API."""

import datetime as dt
from typing import Any

from django.core.management.base import CommandError, CommandParser

from pmcore import clock
from pmcore.engines.records import SYSTEM
from pmcore.management.checked import CheckedCommand
from pmcore.services.accounts import AccountRefused
from pmcore.services.tokens import create_token


class Command(CheckedCommand):
    help = "Make a token with which an account may ask the API, and print it once."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("user", help="the account's user name")
        parser.add_argument("--label", default="made on the command line", help="what it is for")
        parser.add_argument("--days", type=int, help="how long it is good (default: until it is taken back)")

        parser.add_argument(
            "--read-only", action="store_true", help="nothing may be written by it; its use is recorded"
        )
        parser.add_argument("--site", action="append", default=[], help="only this site, by its label; may be repeated")
        parser.add_argument("--from", dest="from_on", type=dt.date.fromisoformat, help="only from this day on")
        parser.add_argument("--to", dest="to_on", type=dt.date.fromisoformat, help="only up to this day")

    def handle(self, *args: Any, **options: Any) -> None:
        at = clock.now()
        try:
            expires_at = at + dt.timedelta(days=options["days"]) if options["days"] is not None else None
            made = create_token(
                username=options["user"], label=options["label"], actor=SYSTEM, at=at, expires_at=expires_at,
                read_only=options["read_only"], site_labels=options["site"], from_on=options["from_on"],
                to_on=options["to_on"],
            )  # fmt: skip
        except AccountRefused as error:
            raise CommandError(str(error)) from error
        except OverflowError as error:
            raise CommandError(f"{options['days']} days are more than a calendar holds.") from error
        self.stdout.write(made.raw)
        self.stderr.write(f"Keep it now: it is not shown again. `revoke_token {made.token}` takes it back.")
