"""A letter as it is to be written, and how far all of them are."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import QuerySet

from pmcore.engines.site_days import local_day
from pmcore.engines.vocabulary import MailState
from pmcore.models import Alert, Mail
from pmcore.queries.alert_people import address_of
from pmcore.queries.alerts import AlertItem, alert_items
from pmcore.queries.assigned import names_of
from pmcore.queries.head import head


@dataclass(frozen=True, slots=True)
class Letter:
    """`address` None: the person has none. `today`: their day when it is sent; `items`: of each matter its furthest
    step, what was done meanwhile too."""

    message_id: str
    name: str
    address: str | None
    at: dt.datetime
    today: dt.date
    at_once: bool
    items: tuple[AlertItem, ...]


@dataclass(frozen=True, slots=True)
class LetterState:
    """How far the letter is. `tried` and `error`: how often in vain, and why the last time."""

    mail: int
    name: str
    day: dt.date
    at_once: bool
    state: MailState
    tried: int
    error: str
    next_try_at: dt.datetime
    sent_at: dt.datetime | None
    perhaps_twice: bool
    message_id: str


@dataclass(frozen=True, slots=True)
class Letters:
    """The newest first. `waiting`: all that are not sent; `silent_since`: the mail server does not answer (None: it
    does, as far as anybody tried)."""

    rows: tuple[LetterState, ...]
    waiting: int
    silent: str | None
    next_try_at: dt.datetime | None


def letter_of(mail: Mail, at: dt.datetime) -> Letter:
    """As of the person's day at the moment, as known now."""
    known, today = head().size, local_day(at, mail.time_zone)
    alerts = list(Alert.objects.filter(deliveries__mail=mail.pk))
    return Letter(
        mail.message_id,
        names_of([mail.person], known).get(mail.person, ""),
        address_of(mail.person, on=today),
        at,
        today,
        mail.at_once,
        alert_items(alerts, as_of=today, known=known),
    )


def letters(*, limit: int = 200, state: MailState | None = None) -> Letters:
    """Five statements."""
    asked = Mail.objects.order_by("-next_try_at", "-pk")
    rows = list((asked if state is None else asked.filter(state=state))[:limit])
    names = names_of({row.person for row in rows}, head().size)
    silent = silent_ones().order_by("next_try_at").first()
    return Letters(
        rows=tuple(_state(row, names) for row in rows),
        waiting=Mail.objects.filter(state__in=[MailState.WAITING, MailState.SENDING]).count(),
        silent=None if silent is None else silent.error,
        next_try_at=None if silent is None else silent.next_try_at,
    )


def silent_ones() -> QuerySet[Mail]:
    """Letters that wait because the mail server did not answer."""
    return Mail.objects.filter(state=MailState.WAITING, server_silent=True)


def _state(row: Mail, names: dict[int, str]) -> LetterState:
    in_vain = row.attempts if row.state == MailState.WAITING else 0
    return LetterState(
        row.pk, names.get(row.person, ""), row.day, row.at_once, MailState(row.state), in_vain, row.error,
        row.next_try_at, row.sent_at, row.perhaps_twice, row.message_id,
    )  # fmt: skip
