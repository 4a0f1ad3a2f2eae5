"""Letters that were written into a folder, as they stand there."""

from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

from pmcore.mail_folder import file_name
from pmcore.models import Mail


@dataclass(frozen=True, slots=True)
class LetterFile:
    subject: str
    to: str
    written: str
    message_id: str
    text: str
    raw: bytes


def letter_file(mail: int, folder: Path | None) -> LetterFile | None:
    """None: there is no such letter, or it is not in the folder (not sent yet, or sent to a server)."""
    message_id = Mail.objects.filter(pk=mail).values_list("message_id", flat=True).first()
    if message_id is None or folder is None:
        return None
    try:
        raw = (folder / file_name(message_id)).read_bytes()
    except OSError:
        return None
    letter = message_from_bytes(raw, policy=policy.default)
    part = letter.get_body(("plain",)) if isinstance(letter, EmailMessage) else None
    text = part.get_content() if isinstance(part, EmailMessage) else ""
    subject, to, written = (str(letter[name] or "") for name in ("Subject", "To", "Date"))
    return LetterFile(subject, to, written, message_id, text, raw)
