"""Pages of figures are kept as they were sent, and sent again as long as they would come out the same.

What a page shows hangs on its address, on who asks (the cookies), on the day, and on the record. The first three are in
the key; whether the record, the session and the account are as they were is asked of the database each time.
"""

import datetime as dt
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from threading import Lock
from typing import Any, cast

from django.contrib.messages import get_messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import timezone

from pmcore import clock
from pmcore.queries.page_freshness import SignedIn, is_as_it_was

_MOST = 64
_LOCAL_DAYS_TURN_EVERY = 15  # minutes: no zone differs from UTC by less than a quarter of an hour


@dataclass(frozen=True, slots=True)
class _Kept:
    by: SignedIn
    size: int
    waiting: int
    content: bytes
    headers: tuple[tuple[str, str], ...]


_pages: "OrderedDict[Hashable, _Kept]" = OrderedDict()
_lock = Lock()


def may_be_kept(response: HttpResponse, request: HttpRequest, size: int) -> HttpResponse:
    """For a view: the page hangs on nothing else, and was made when the history had `size` entries. One with a message
    on it is for this once."""
    session, account = request.session.session_key, cast(Any, request.user)
    if session and account.pk and account.person_id and not len(get_messages(request)):
        by = SignedIn(session, account.pk, account.password, account.person_id)
        cast(Any, response).kept_for = (by, size)
    return response


class KeptPages:
    """The middleware: before sessions, so that a page that is kept costs one statement."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if request.method != "GET" or "Cookie" not in request.headers:
            return self.get_response(request)
        key = (request.get_full_path(), request.headers["Cookie"], request.headers.get("HX-Request"), _quarter())
        kept = _pages.get(key)
        if kept is not None and _is_fresh(kept):
            return HttpResponse(kept.content, headers=dict(kept.headers))
        response = self.get_response(request)
        _keep(key, request, response)
        return response


def _is_fresh(kept: _Kept) -> bool:
    # Sessions end by the machine's clock, also in a demonstration.
    return is_as_it_was(by=kept.by, size=kept.size, waiting=kept.waiting, at=timezone.now())


def _keep(key: Hashable, request: HttpRequest, response: HttpResponseBase) -> None:
    """A page that sets a cookie to what it was says nothing new by it."""
    kept_for = getattr(response, "kept_for", None)
    if kept_for is None or response.status_code != 200:
        return
    if any(request.COOKIES.get(name) != morsel.value for name, morsel in response.cookies.items()):
        return
    by, size = kept_for
    content, waiting = cast(HttpResponse, response).content, getattr(request, "alerts_waiting", 0)
    with _lock:
        _pages[key] = _Kept(by, size, waiting, content, tuple(response.items()))
        while len(_pages) > _MOST:
            _pages.popitem(last=False)


def _quarter() -> dt.datetime:
    now = clock.now()
    return now.replace(minute=now.minute // _LOCAL_DAYS_TURN_EVERY * _LOCAL_DAYS_TURN_EVERY, second=0, microsecond=0)


def forget() -> None:
    """Everything, as a process that has just begun."""
    with _lock:
        _pages.clear()
