"""Builds Quillmere Health, the demonstration."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from pmcore.services.demo.build import build_demo
from pmcore.services.demo.marks import START_ANEW
from pmcore.services.refusals import RecordRefused

LEAST_DEVICES = 60


class Command(BaseCommand):
    help = "Build the demonstration, a health system that does not exist, into an empty record."
    requires_system_checks = ()  # the database need not be there yet

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--no-serve", action="store_true", help="build and exit; so far there are no pages to serve"
        )
        parser.add_argument("--seed", type=int, help="what chance begins with (default: as in the fixtures)")
        parser.add_argument("--devices", type=int, help="how many devices there are (default: as in the fixtures)")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["no_serve"]:
            raise CommandError("There are no pages to serve yet: give --no-serve to build and exit.", returncode=2)
        devices = options["devices"]
        if devices is not None and devices < LEAST_DEVICES:
            raise CommandError(f"A demonstration has at least {LEAST_DEVICES} devices.")
        call_command("migrate", verbosity=0)
        try:
            built = build_demo(seed=options["seed"], devices=devices, progress=self._say_progress)
        except RecordRefused as refused:
            raise CommandError(str(refused)) from None
        except KeyboardInterrupt:
            self.stderr.write("")
            raise CommandError(f"The demonstration is not finished. {START_ANEW}") from None
        if not built.entries:
            self.stdout.write(f"Already built: Quillmere Health ({built.demonstration}).")
            return
        self.stderr.write("")
        self.stdout.write(f"Built Quillmere Health ({built.demonstration}): {built.entries:,} entries.")

    def _say_progress(self, phase: str, done: int, of: int) -> None:
        self.stderr.write(f"\r{phase}: {done:,} of {of:,}".ljust(50), ending="")
        self.stderr.flush()
