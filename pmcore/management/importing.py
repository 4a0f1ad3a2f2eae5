"""What the commands that import have in common."""

from typing import Any

from django.core.management.base import CommandError, CommandParser

from pmcore.engines.records import SYSTEM, Actor
from pmcore.queries.actors import NoActor, actor_named

BAR = 40


def add_who(parser: CommandParser) -> None:
    parser.add_argument("--by", metavar="USER", help="the account on whose word it is imported (default: the service)")


def who(options: dict[str, Any], on: Any) -> Actor:
    """Raises CommandError."""
    if options["by"] is None:
        return SYSTEM
    try:
        return actor_named(options["by"], on=on)
    except NoActor as refused:
        raise CommandError(str(refused)) from None


class Bar:
    """How far it is, on one line of a terminal."""

    def __init__(self, out: Any, of: int | None) -> None:
        self.out, self.of = out, of

    def __call__(self, done: int) -> None:
        if self.of:
            filled = min(BAR, BAR * done // self.of)
            self.out.write(
                f"\r[{'#' * filled}{' ' * (BAR - filled)}] {min(done, self.of):,} of {self.of:,} lines", ending=""
            )
        else:
            self.out.write(f"\r{done:,} lines", ending="")
        self.out.flush()

    def end(self) -> None:
        self.out.write("")
