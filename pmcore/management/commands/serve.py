"""Serves this installation on one machine."""

from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from pmcore import clock
from pmcore.management.serving import add_port, address, place_taken, serve
from pmcore.services.keep_standings import keep_standings


class Command(BaseCommand):
    help = "Migrate, then run web, workers and scheduler together until Ctrl-C."
    requires_system_checks = ()  # the database need not be there yet

    def add_arguments(self, parser: CommandParser) -> None:
        add_port(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        if clock.is_set_back():
            raise CommandError(f"The data folder {settings.DATA} holds a demonstration: start it with `demo`.")
        try:
            with place_taken(options["port"]) as listener:
                call_command("migrate", verbosity=0)
                keep_standings()
                ready = f"{address(options['port'])}\nStop with Ctrl-C. Data: {settings.DATA}"
                serve(
                    listener,
                    ready=lambda: self._print(ready),
                    now_and_then=lambda: None,
                    say=self._say,
                )
        except KeyboardInterrupt:
            raise CommandError("Stopped before it was served.") from None

    def _print(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()

    def _say(self, words: str) -> None:
        self.stderr.write(words)
