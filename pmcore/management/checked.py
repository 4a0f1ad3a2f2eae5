"""What every command of ours does first."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError


class CheckedCommand(BaseCommand):
    """Refuses arguments that are no text: bytes on the command line that are no UTF-8 arrive as lone surrogates, which
    no database can keep."""

    def execute(self, *args: Any, **options: Any) -> str | None:
        for name, given in options.items():
            for value in given if isinstance(given, list | tuple) else [given]:
                if isinstance(value, str) and not _is_text(value):
                    raise CommandError(f"{name}: {value!r} is no text, it holds bytes that are no UTF-8.")
        return super().execute(*args, **options)


def _is_text(value: str) -> bool:
    try:
        value.encode()
    except UnicodeEncodeError:
        return False
    return "\x00" not in value
