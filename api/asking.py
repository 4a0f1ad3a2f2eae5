"""What every resource does with a request: who asks, as of which day, as known at which size, which parameters."""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, ClassVar, TypeVar, cast
from urllib.parse import urlencode

from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.cursors import Cursor, digest_of, read, write
from api.errors import BadRequest
from api.moments import moment_of
from api.permissions import Roles
from pmcore.engines.records import Actor
from pmcore.engines.site_days import earliest_day
from pmcore.queries.head import head
from pmcore.queries.sites import sites_on

MOST = 500
USUAL = 100

_Value = TypeVar("_Value")


@dataclass(frozen=True, slots=True)
class Asked:
    """`today`: the earliest today among the actor's sites; `as_of` and `known` as they were asked for, else today and
    the whole history; `after`: the key of the last row of the page before."""

    actor: Actor
    at: dt.datetime
    today: dt.date
    as_of: dt.date
    known: int
    limit: int
    after: Sequence[int | str]


class Resource(APIView):
    """`roles` by method; `parameters`: what may be asked besides `as_of` and `known`."""

    roles: ClassVar[Roles] = {}
    parameters: ClassVar[tuple[str, ...]] = ()
    repeated: ClassVar[tuple[str, ...]] = ()

    def asked(self, request: Request, *, paged: bool = False) -> Asked:
        """Raises BadRequest for parameters that are unknown, repeated or will not do."""
        given = self.given(request, paged=paged)
        actor = actor_of_request(request)
        at = moment_of(request)
        today = today_of(actor, at)
        if "cursor" in given:
            cursor = read(given["cursor"][0], digest_of(request.path, given))
        else:
            as_of = one(given, "as_of", day) or today
            known = one(given, "known", number)
            cursor = Cursor(head().size if known is None else known, as_of, ())
        limit = one(given, "limit", number) if paged else None
        if limit is not None and not 1 <= limit <= MOST:
            raise BadRequest({"limit": f"limit: a number from 1 to {MOST} is wanted."})
        return Asked(actor, at, today, cursor.as_of, cursor.known, limit or USUAL, cursor.after)

    def given(self, request: Request, *, paged: bool = False) -> dict[str, list[str]]:
        """The parameters with their values. Raises BadRequest."""
        there = (*self.parameters, "as_of", "known", *(("cursor", "limit") if paged else ()))
        errors = {}
        for name, values in request.query_params.lists():
            if name not in there:
                errors[name] = f"There is no parameter {name!r}; there are {', '.join(there)}."
            elif len(values) > 1 and name not in self.repeated:
                errors[name] = f"{name} is given {len(values)} times; say it once."
        if errors:
            raise BadRequest(errors)
        return dict(request.query_params.lists())

    def page(self, request: Request, asked: Asked, results: Any, after: Sequence[int | str] | None) -> Response:
        """A page of a list, with the address of the next one."""
        following = None
        if after is not None:
            given = self.given(request, paged=True)
            cursor = write(Cursor(asked.known, asked.as_of, after), digest_of(request.path, given))
            following = request.build_absolute_uri(
                f"{request.path}?{urlencode(given | {'cursor': [cursor]}, doseq=True)}"
            )
        return Response({"results": results, "next": following, "as_of": asked.as_of, "known": asked.known})


def actor_of_request(request: Request) -> Actor:
    """Who asks; the permission has seen to it that there is somebody."""
    return cast(Actor, request.auth)


def after_of(key: int | None) -> tuple[int] | None:
    """The key of a list that goes by one id, as a cursor carries it."""
    return None if key is None else (key,)


def today_of(actor: Actor, at: dt.datetime) -> dt.date:
    """The earliest today among the actor's sites."""
    sites = sites_on(at.date())
    return earliest_day(at, [site.time_zone for site in sites if actor.sites is None or site.site in actor.sites])


def one(given: Mapping[str, Sequence[str]], name: str, read_value: Callable[[str], _Value]) -> _Value | None:
    """The parameter's value, None where it was not given. Raises BadRequest."""
    found = many(given, name, read_value)
    return next(iter(found)) if found else None


def many(
    given: Mapping[str, Sequence[str]], name: str, read_value: Callable[[str], _Value]
) -> frozenset[_Value] | None:
    """The parameter's values: given several times, or once with commas between. Raises BadRequest."""
    texts = [text for value in given.get(name, ()) for text in value.split(",")]
    try:
        return frozenset(read_value(text) for text in texts) if texts else None
    except ValueError as wrong:
        raise BadRequest({name: f"{name}: {wrong}"}) from None


def day(text: str) -> dt.date:
    try:
        if len(text) == 10:
            return dt.date.fromisoformat(text)
    except ValueError:
        pass
    raise ValueError(f"{text!r} is no date; write it as 2026-10-31.")


def number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise ValueError(f"{text!r} is no whole number.")
    return int(text)


def word_of(vocabulary: type[StrEnum]) -> Callable[[str], Any]:
    def read_word(text: str) -> StrEnum:
        try:
            return vocabulary(text)
        except ValueError:
            raise ValueError(f"{text!r} is none of {', '.join(vocabulary)}.") from None

    return read_word


def text(value: str) -> str:
    if len(value) > 100 or not value.isprintable():
        raise ValueError("at most 100 printable characters are wanted.")
    return value
