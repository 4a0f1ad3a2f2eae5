"""Registers a person and makes their account: the first thing that a fresh installation needs."""

import getpass
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from pmcore import clock
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import Role
from pmcore.management.checked import CheckedCommand
from pmcore.queries.columns import BadValue
from pmcore.services.accounts import AccountRefused, create_account
from pmcore.services.refusals import RecordBusy, RecordRefused

# A role counts from a day on: the one that has begun everywhere, so that it counts at every site at once.
_LAST_TO_BEGIN = "Etc/GMT+12"


class Command(CheckedCommand):
    help = "Register a person in the record and make an account for them."

    def add_arguments(self, parser: CommandParser) -> None:
        roles = [role.value for role in Role if role != Role.SYSTEM]
        parser.add_argument("username")
        parser.add_argument("--name", required=True, help="the person's name")
        parser.add_argument("--role", required=True, choices=roles)
        parser.add_argument("--site", action="append", default=[], metavar="LABEL", help="may be given several times")
        parser.add_argument("--email")
        parser.add_argument("--password-file", type=Path, help="read the password from this file")

    def handle(self, *args: Any, **options: Any) -> None:
        at = clock.now()
        try:
            made = create_account(
                username=options["username"],
                password=self._password(options["password_file"]),
                name=options["name"],
                role=Role(options["role"]),
                site_labels=options["site"],
                email=options["email"],
                actor=SYSTEM,
                at=at,
                on=clock.today(at, _LAST_TO_BEGIN),
            )
        except (AccountRefused, RecordRefused, RecordBusy, BadValue) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{made.username} can sign in now.")

    def _password(self, file: Path | None) -> str:
        if file is None:
            return getpass.getpass("Password: ")
        try:
            return file.read_text().rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            raise CommandError(f"{file} cannot be read: {error}.") from error
