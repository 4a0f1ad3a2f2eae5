"""Where no mail server is named, letters go into a folder: one file each, under the name of its Message-ID. A letter
that is sent again after an interruption takes the place of the first, so nothing stands there twice or in half."""

import os
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.mail.backends.base import BaseEmailBackend


class EmailBackend(BaseEmailBackend):
    """Written aside, synced and renamed."""

    def __init__(self, fail_silently: bool = False, file_path: str | Path | None = None, **options: Any) -> None:
        super().__init__(fail_silently=fail_silently)
        self.folder = Path(file_path or settings.EMAIL_FILE_PATH or settings.DATA / "mail")

    def send_messages(self, email_messages: Sequence[Any]) -> int:
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        for each in email_messages:
            message = each.message()
            path = self.folder / file_name(message["Message-ID"])
            aside = path.with_name(f".{path.name}-{os.getpid()}")
            with os.fdopen(os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
                file.write(message.as_bytes())
                file.flush()
                os.fsync(file.fileno())
            aside.replace(path)
        return len(email_messages)


def file_name(message_id: str) -> str:
    """Letters and digits of the Message-ID alone: it comes from whoever sends."""
    return re.sub(r"[^A-Za-z0-9.-]+", "_", message_id).strip("_.") + ".eml"
