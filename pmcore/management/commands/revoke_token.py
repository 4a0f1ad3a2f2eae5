"""Takes a token back."""

from typing import Any

from django.core.management.base import CommandError, CommandParser

from pmcore import clock
from pmcore.engines.records import SYSTEM
from pmcore.management.checked import CheckedCommand
from pmcore.services.accounts import AccountRefused
from pmcore.services.tokens import revoke_token


class Command(CheckedCommand):
    help = "Take a token back: it opens nothing any more. Its number stands on the page of tokens and was told with it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("token", type=int, help="the token's number")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            revoke_token(token=options["token"], actor=SYSTEM, at=clock.now())
        except AccountRefused as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Token {options['token']} opens nothing any more.")
