"""The base of every view: who asks, when, and what answers to one question and to a list look like."""

import datetime as dt
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from django.http import Http404, HttpRequest, QueryDict
from rest_framework.exceptions import MethodNotAllowed
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from api.authentication import actor_in
from api.documented import PAGING, WHEN, Parameter, names_of
from api.narrowed import check_asked_days, check_one_within
from api.paging import USUAL, Cursor, a_limit
from pmcore import clock
from pmcore.engines.records import Actor
from pmcore.engines.site_days import earliest_day
from pmcore.queries.asked import AskedRefused, check_asked, check_days
from pmcore.queries.head import head
from pmcore.queries.parameters import Given, Parameters, a_day, a_number
from pmcore.queries.sites import sites_on


@dataclass(frozen=True, slots=True)
class When:
    """The day that is told for, how much of the history counts, and the earliest today among the actor's sites."""

    as_of: dt.date
    known: int
    today: dt.date


class ApiView(APIView):
    """`resource`: its name in the table of permissions; `parameters`: all that may be asked with; `says`: of each
    method, in one sentence; `serializer`: of what it answers. `period`: the parameters that narrow it to days, which a
    token for a period has to say, and none where the day that is told for is enough; None: no such token may ask."""

    resource: ClassVar[str]
    parameters: ClassVar[tuple[Parameter, ...]] = ()
    says: ClassVar[dict[str, str]]
    serializer: ClassVar[type[BaseSerializer[Any]]]
    period: ClassVar[tuple[str, ...] | None] = None
    http_method_names = ["get", "head", "post"]
    at: dt.datetime

    def setup(self, request: HttpRequest, *args: Any, **options: Any) -> None:
        super().setup(request, *args, **options)
        self.at = clock.now()

    def check_permissions(self, request: Request) -> None:
        if request.auth is not None and request.method not in self.allowed_methods:
            there = ", ".join(self.allowed_methods)
            raise MethodNotAllowed(str(request.method), f"There is no {request.method} here; there are {there}.")
        super().check_permissions(request)

    def finalize_response(self, *args: Any, **options: Any) -> Response:
        response: Response = super().finalize_response(*args, **options)
        response["Cache-Control"] = "no-store"
        return response

    @property
    def actor(self) -> Actor:
        return actor_in(self.request)

    def given(self) -> dict[str, list[str]]:
        return dict(self.request.query_params.lists())

    def asked(self) -> Parameters:
        """The parameters, every unknown one refused by name as soon as `refuse` is called. Raises OutsideYourPeriod."""
        if self.actor.is_narrowed:
            check_asked_days(self.actor, self.period, self.parameters, self.given())
        return Parameters(self.given(), names_of(self.parameters))

    def when(self, as_of: dt.date | None, known: int | None) -> When:
        """A token for a period that is over tells of its last day, where nothing is said. Raises AsOfAhead,
        KnownBeyond, OutsideYourPeriod."""
        today = self.today()
        day = as_of or min(today, self.actor.ends_on or today)
        check_days(self.actor, day, day)
        found = When(day, head().size if known is None else known, today)
        check_asked(as_of=found.as_of, known=found.known, today=today)
        return found

    def today(self) -> dt.date:
        """The earliest today among the actor's sites."""
        sites = self.actor.sites
        zones = [site.time_zone for site in sites_on(self.at.date()) if sites is None or site.site in sites]
        return earliest_day(self.at, zones)


class OneView(ApiView, ABC):
    """One thing of the record, as of a day."""

    parameters: ClassVar[tuple[Parameter, ...]] = WHEN
    period: ClassVar[tuple[str, ...] | None] = ()

    def get(self, request: Request, **key: int) -> Response:
        asked = self.asked()
        as_of, known = asked.one("as_of", a_day), asked.one("known", a_number)
        asked.refuse()
        when = self.when(as_of, known)
        found = self.find(when, **key)
        if found is None:
            raise Http404
        check_one_within(self.actor, self.days_of(found))
        return Response(
            {**self.serializer(found).data, "as_of": when.as_of.isoformat(), "known": when.known},
        )

    @abstractmethod
    def find(self, when: When, **key: int) -> Any:
        """What `serializer` takes; None: there is no such thing, or not for this actor."""

    def days_of(self, found: Any) -> Sequence[dt.date]:
        """The days on which it was, or is, where it is something that happens."""
        return ()


Found = tuple[Sequence[Any], int | None]
"""The records of a page, and the key after which the next one begins."""


class ListView(ApiView, ABC):
    """A list in order of keys. `filters` are its own parameters; those of every list come to them."""

    filters: ClassVar[tuple[Parameter, ...]] = ()
    period: ClassVar[tuple[str, ...] | None] = ()

    def __init_subclass__(cls) -> None:
        cls.parameters = (*cls.filters, *WHEN, *PAGING)

    def get(self, request: Request) -> Response:
        asked = self.asked()
        as_of, known = asked.one("as_of", a_day), asked.one("known", a_number)
        limit, cursor = asked.one("limit", a_limit) or USUAL, asked.one("cursor", str)
        chosen = self.read(asked)
        asked.refuse()
        after: int | None = None
        if cursor is None:
            when = self.when(as_of, known)
        else:
            # What it says was checked when it was given out.
            said = Cursor.read(cursor, self.resource, asked.given)
            after, when = said.after, When(said.as_of, said.known, said.as_of)
        records, goes_on = self.page(chosen, when, after, limit)
        following = None if goes_on is None else Cursor(goes_on, when.as_of, when.known)
        return Response(
            {
                "results": self.serializer(records, many=True).data,
                "next": self._address(following, asked.given),
                "as_of": when.as_of.isoformat(),
                "known": when.known,
            }
        )

    @abstractmethod
    def read(self, asked: Parameters) -> Any:
        """The filter that the parameters ask for; what is wrong gathers in `asked`."""

    @abstractmethod
    def page(self, chosen: Any, when: When, after: int | None, limit: int) -> Found:
        """At most so many of what was chosen, after that key."""

    def _address(self, following: Cursor | None, given: Given) -> str | None:
        if following is None:
            return None
        query = QueryDict(mutable=True)
        for name, values in given.items():
            query.setlist(name, list(values))
        query["cursor"] = following.written(self.resource, given)
        return self.request.build_absolute_uri(f"{self.request.path}?{query.urlencode()}")


__all__ = ["ApiView", "AskedRefused", "Found", "ListView", "OneView", "When"]
