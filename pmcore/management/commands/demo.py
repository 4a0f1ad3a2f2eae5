"""Builds Quillmere Health, the demonstration, and serves it."""

import datetime as dt
import signal
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from pmcore import clock
from pmcore.management import kept_secrets
from pmcore.management.serving import add_port, address, data_folder_held, place_taken, serve
from pmcore.services.demo.accounts import open_accounts, open_token
from pmcore.services.demo.build import Built, build_demo
from pmcore.services.demo.last_moment import goes_on_at, keep_moment
from pmcore.services.demo.marks import START_ANEW
from pmcore.services.keep_standings import keep_standings
from pmcore.services.refusals import RecordRefused
from pmcore.supervisor.run import NOW_AND_THEN_SECONDS

LEAST_DEVICES = 60


class Command(BaseCommand):
    help = "Build the demonstration, a health system that does not exist, into an empty record, and serve it."
    requires_system_checks = ()  # the database need not be there yet

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="build and exit")
        parser.add_argument("--seed", type=int, help="what chance begins with (default: as in the fixtures)")
        parser.add_argument("--devices", type=int, help="how many devices there are (default: as in the fixtures)")
        add_port(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        devices = options["devices"]
        if devices is not None and devices < LEAST_DEVICES:
            raise CommandError(f"A demonstration has at least {LEAST_DEVICES} devices.")
        if options["no_serve"]:
            with data_folder_held():
                self._prepare(options["seed"], devices)
            return
        signal.signal(signal.SIGTERM, signal.default_int_handler)  # as Ctrl-C, also while it is built
        try:
            with place_taken(options["port"]) as listener:
                built = self._prepare(options["seed"], devices)
                words = self._words(built, options["port"])
                serve(
                    listener,
                    ready=lambda: self._print(words),
                    now_and_then=lambda: self._keep_moment(ahead=NOW_AND_THEN_SECONDS),
                    say=self._say,
                )
                self._keep_moment()
        except KeyboardInterrupt:
            raise CommandError("Stopped before it was served.") from None

    def _prepare(self, seed: int | None, devices: int | None) -> Built:
        """The demonstration with its accounts, and what its first page is counted from."""
        call_command("migrate", verbosity=0)
        built = self._build(seed, devices)
        clock.go_on_from(goes_on_at(settings.DATA / "demo-moment"), settings.CLOCK_FILE)
        keep_standings(lambda done, of: self._say_progress("Standings", done, of))
        if built.entries:
            self.stderr.write("")
            self._print(f"Built Quillmere Health ({built.demonstration}): {built.entries:,} entries.")
        else:
            self._print(f"Already built: Quillmere Health ({built.demonstration}).")
        return built

    def _build(self, seed: int | None, devices: int | None) -> Built:
        try:
            return build_demo(seed=seed, devices=devices, progress=self._say_progress)
        except RecordRefused as refused:
            raise CommandError(str(refused)) from None
        except KeyboardInterrupt:
            self.stderr.write("")
            raise CommandError(f"The demonstration is not finished. {START_ANEW}") from None

    def _words(self, built: Built, port: int) -> str:
        at = clock.now()
        password, token = settings.DATA / "demo-password", settings.DATA / "demo-token"
        kept = kept_secrets.read(password)
        if kept is None:
            kept_secrets.keep(password, kept_secrets.password())
        said = kept or kept_secrets.read(password) or ""
        accounts = open_accounts(password=said, is_new=kept is None, on=at.date())
        raw = open_token(kept=kept_secrets.read(token), at=at)
        kept_secrets.keep(token, raw)
        return "\n".join([
            f"\nIt is {at:%Y-%m-%d %H:%M} UTC in the demonstration, and its clock runs on from there.",
            "\nSign in as one of these, all with the password " + said + "\n",
            *(f"  {each.username:<14} {each.person}" for each in accounts),
            "\nAsk the interface as the auditor:\n",
            f'  curl -H "Authorization: Token {raw}" "{address(port)}api/v1/compliance?period=2026-09"',
            f"\n{address(port)}",
            "Stop with Ctrl-C; started again, it goes on where it was.",
            f"Data: {settings.DATA}",
            "To start anew, stop and delete that folder (with DATABASE_URL, also empty the database).",
        ])  # fmt: skip

    def _keep_moment(self, ahead: float = 0) -> None:
        """Ahead: until it is kept again, so that the clock does not go back where this process is killed."""
        keep_moment(clock.now() + dt.timedelta(seconds=ahead), settings.DATA / "demo-moment")

    def _print(self, words: str) -> None:
        """At once, also where somebody reads it through a pipe."""
        self.stdout.write(words)
        self.stdout.flush()

    def _say(self, words: str) -> None:
        self.stderr.write(words)

    def _say_progress(self, phase: str, done: int, of: int) -> None:
        self.stderr.write(f"\r{phase}: {done:,} of {of:,}".ljust(50), ending="")
        self.stderr.flush()
