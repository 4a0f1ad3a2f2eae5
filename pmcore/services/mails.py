"""Letters are sent: each taken by one worker, and once the server has it, never again.

One gap no sender can close by SMTP: a worker that dies after the server took the letter and before its row says so. The
letter is then sent again, under the same Message-ID, and its row says `perhaps_twice`: better twice than never. The gap
is one write wide; a worker that died before it handed the letter over repeats nothing.
"""

import datetime as dt
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from email.utils import format_datetime
from smtplib import SMTPRecipientsRefused, SMTPResponseException
from typing import Any

import structlog
from django.core.mail import EmailMultiAlternatives, get_connection
from django.db.models import F, Q

from pmcore.engines.vocabulary import MailState
from pmcore.models import Mail
from pmcore.queries.letters import Letter, letter_of, silent_ones
from pmcore.services.alert_making import SEND
from pmcore.wake import wake

SILENT_PAUSE, LONGEST_SILENT_PAUSE = 60, 900
REFUSED_PAUSE, LONGEST_REFUSED_PAUSE = 300, 86_400
WOKEN_AT_ONCE = 500

log = structlog.get_logger(__name__)


@dataclass(frozen=True, slots=True)
class Composed:
    subject: str
    text: str
    html: str


Compose = Callable[[Letter], Composed]


class _Silent(RuntimeError):
    """The mail server cannot be spoken to."""

    def __init__(self, error: OSError) -> None:
        super().__init__(str(error))
        self.error = error


class _Lost(RuntimeError):
    """The lease ran out and another worker has the letter."""


def send(*, mail: int, at: dt.datetime, seconds: float, compose: Compose) -> MailState | None:
    """Take the letter for so many seconds and send it, if nobody has it and its time has come; what became of it, or
    None where there was nothing to do. Whatever goes wrong is kept on its row, and it is tried again."""
    row = _take(mail, at, seconds)
    if row is None:
        return None
    try:
        return _sent(row, at, compose)
    except _Lost:
        log.warning("a letter was lost to another worker", mail=mail)
        return None


def wake_due(*, at: dt.datetime) -> int:
    """Wake a worker for each letter whose time has come; how many. While the mail server is silent, for the one that
    tries whether it answers again."""
    silent = silent_ones().order_by("next_try_at", "pk").first()
    due = Mail.objects.filter(_free(at)).order_by("next_try_at", "pk")
    if silent is not None:
        due = due.filter(pk=silent.pk)
    waiting = list(due.values_list("pk", flat=True)[:WOKEN_AT_ONCE])
    for mail in waiting:
        wake(SEND, mail)
    return len(waiting)


def _free(at: dt.datetime) -> Q:
    return Q(state=MailState.WAITING, next_try_at__lte=at) | Q(state=MailState.SENDING, leased_until_at__lte=at)


def _take(mail: int, at: dt.datetime, seconds: float) -> Mail | None:
    """By compare-and-set on how often it was taken. One whose worker died comes again; had that one handed it over, it
    may arrive twice."""
    row = Mail.objects.filter(_free(at), pk=mail).first()
    if row is None or (not row.server_silent and silent_ones().exists()):
        return None
    row.lease = uuid.uuid4()
    taken = Mail.objects.filter(_free(at), pk=mail, attempts=row.attempts).update(
        state=MailState.SENDING,
        lease=row.lease,
        leased_until_at=at + dt.timedelta(seconds=seconds),
        attempts=F("attempts") + 1,
        perhaps_twice=row.perhaps_twice or row.handed_over,
        handed_over=False,
    )
    row.attempts += 1
    return row if taken else None


def _sent(row: Mail, at: dt.datetime, compose: Compose) -> MailState:
    connection = get_connection()
    try:
        return _send(row, at, compose, connection)
    except _Lost:
        raise
    except _Silent as silent:
        return _put_off(row, at, silent.error, SILENT_PAUSE, LONGEST_SILENT_PAUSE, server_silent=True)
    except (SMTPRecipientsRefused, SMTPResponseException) as refused:
        return _put_off(row, at, refused, REFUSED_PAUSE, LONGEST_REFUSED_PAUSE, handed_over=False)
    except Exception as error:  # whatever is wrong with this letter holds up no other
        return _put_off(row, at, error, REFUSED_PAUSE, LONGEST_REFUSED_PAUSE)
    finally:
        connection.close()


def _send(row: Mail, at: dt.datetime, compose: Compose, connection: Any) -> MailState:
    try:
        connection.open()
    except OSError as error:  # no route, no answer in time, or a greeting that is none
        raise _Silent(error) from error
    letter = letter_of(row, at)
    if letter.address is None:
        return _end(row, MailState.NO_ADDRESS, error="Nobody recorded an address; told in the application alone.")
    message = _message(letter, compose(letter), connection)
    _change(row, handed_over=True)
    message.send()
    _end(row, MailState.SENT, sent_at=at, error="")
    if row.server_silent:
        _go_on(at)
    return MailState.SENT


def _message(letter: Letter, composed: Composed, connection: Any) -> EmailMultiAlternatives:
    headers = {"Message-ID": letter.message_id, "Date": format_datetime(letter.at), "Auto-Submitted": "auto-generated"}
    to = [letter.address] if letter.address else []
    message = EmailMultiAlternatives(composed.subject, composed.text, None, to, headers=headers, connection=connection)
    message.attach_alternative(composed.html, "text/html")
    return message


def _put_off(row: Mail, at: dt.datetime, error: Exception, pause: int, longest: int, **values: object) -> MailState:
    """It waits, and each time twice as long as before: an address that is set right, a full box that is emptied or a
    server that is back is found by itself."""
    seconds = min(pause * 2 ** min(row.attempts - 1, 20), longest)
    log.warning("a letter could not be sent", mail=row.pk, attempts=row.attempts, error=str(error))
    said = f"{type(error).__name__}: {error}".replace("\x00", "?")[:500]
    later = at + dt.timedelta(seconds=seconds)
    _change(
        row,
        **{
            "state": MailState.WAITING, "lease": None, "leased_until_at": None, "error": said, "next_try_at": later,
            "server_silent": False, **values,
        },
    )  # fmt: skip
    return MailState.WAITING


def _end(row: Mail, state: MailState, **values: object) -> MailState:
    _change(row, state=state, lease=None, leased_until_at=None, server_silent=False, **values)
    return state


def _go_on(at: dt.datetime) -> None:
    """The server answers again: whatever waited for that goes now."""
    silent_ones().update(server_silent=False, next_try_at=at)
    wake_due(at=at)


def _change(row: Mail, **values: object) -> None:
    if not Mail.objects.filter(pk=row.pk, lease=row.lease, state=MailState.SENDING).update(**values):
        raise _Lost
