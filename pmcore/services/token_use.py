"""That a read-only token was used is an entry: once for each day, and for each export that was asked for by it.

Whoever asks does not wait for that: it is a job, and a worker appends the entry. So a read is answered while somebody
else writes, and a worker that is down only makes the entry later. Where not even the job can be written down, the read
is answered all the same, the log says so, and the next one tries again.
"""

import datetime as dt
from typing import Any

import structlog
from django.db import DatabaseError

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import TokenDeed
from pmcore.models import Account, Job, Token, TokenUse
from pmcore.models.rows import Row
from pmcore.services import jobs
from pmcore.services.append import append
from pmcore.services.requests import Request

KIND = "note_token_use"

log = structlog.get_logger(__name__)


def note_token_use(*, actor: Actor, deed: TokenDeed, at: dt.datetime, of: int | None = None) -> None:
    """The actor's token, if a read-only one was shown, is noted for the day; `of`: the export that was asked for."""
    if actor.token is None:
        return
    key = f"token {actor.token} {deed} {'' if of is None else f'{of} '}{at.date()}"
    try:
        if not Job.objects.filter(kind=KIND, unique_key=key).exists():
            arguments = {"token": actor.token, "deed": str(deed), "on": at.date().isoformat(), "key": key}
            jobs.ask(kind=KIND, unique_key=key, arguments=arguments, actor=actor, at=at)
    except DatabaseError:
        log.exception("the use of a token could not be noted", token=actor.token, deed=str(deed))


def append_token_use(*, arguments: dict[str, Any], at: dt.datetime) -> dict[str, int]:
    """The entry about the token's person; done again, it stays the one. Raises RecordBusy, and is then tried again."""
    token = Token.objects.get(pk=arguments["token"])
    person = Account.objects.values_list("person_id", flat=True).get(pk=token.account_id)
    assert person is not None  # only a person's token makes an actor
    row = Row(
        TokenUse, person=person, used_on=dt.date.fromisoformat(arguments["on"]), deed=TokenDeed(arguments["deed"]),
        token=token.pk, label=token.label,
    )  # fmt: skip
    request = Request.of(arguments["key"], arguments)
    return {"entry": append("token_used", person, [row], actor=SYSTEM, at=at, request=request).seq}
