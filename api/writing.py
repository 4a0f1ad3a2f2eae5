"""The base of what writes: one POST is one deed of the record, done once however often it is sent.

A view names the dataclass of its body, hands it to one service and says where what was written is read:

    class Moves(Writes):
        resource = "moves"  # with "POST" in the table of permissions
        says = {"POST": "Records that a device was moved."}
        body = body_of(Move)

        def write(self, asked: Move, request: Request, **key: int) -> Receipt:
            return move_device(device=asked.device, …, actor=self.actor, at=self.at, request=request)

        def where(self, receipt: Receipt) -> str:
            return f"/api/v1/devices/{receipt.subject}/"

A resource that is listed too is a `class Moves(Writes, ListView)`.
"""

import hashlib
import json
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, ClassVar

from django.utils.dateparse import parse_datetime
from rest_framework import serializers
from rest_framework import status as http
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request as HttpRequest
from rest_framework.response import Response

from api.serializers import RecordSerializer, serializer_of
from api.views import ApiView
from pmcore.queries.columns import BadValue
from pmcore.queries.parameters import BadParameters, a_day
from pmcore.services.requests import Receipt, Request

KEY = "Idempotency-Key"


@dataclass(frozen=True, slots=True)
class Written:
    """`entry`: the place in the history; `id`: of what it is about; its rows have the ids from `first_id` to
    `last_id`. A retry is answered the same."""

    entry: int
    id: int
    first_id: int
    last_id: int


class WholeNumber(serializers.IntegerField):
    def to_internal_value(self, data: Any) -> Any:
        if type(data) is not int or not -(10**18) < data < 10**18:
            self.fail("invalid")
        return data


class Text(serializers.CharField):
    def __init__(self, **options: Any) -> None:
        super().__init__(**{"trim_whitespace": False, **options})

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class Flag(serializers.BooleanField):
    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, bool):
            raise ValidationError("true or false is wanted.")
        return data


class Moment(serializers.DateTimeField):
    def to_internal_value(self, value: Any) -> Any:
        """A moment that does not say its offset from UTC belongs to no day."""
        try:
            read = parse_datetime(value) if isinstance(value, str) else None
        except ValueError:
            read = None
        if read is None or read.utcoffset() is None:
            raise ValidationError("a moment with its offset from UTC is wanted, as 2026-10-31T09:30:00+01:00.")
        return read


class Day(serializers.DateField):
    def to_internal_value(self, value: Any) -> Any:
        """As in an address: written as 2026-10-31, of a year that is no slip."""
        try:
            return a_day(value if isinstance(value, str) else repr(value))
        except ValueError as wrong:
            raise ValidationError(str(wrong)) from None


class BodySerializer(RecordSerializer):
    """Reads a dataclass strictly: no unknown field, no other type, nothing guessed."""

    serializer_field_mapping: ClassVar[dict[type, Any]] = {
        **RecordSerializer.serializer_field_mapping,
        int: WholeNumber,
        str: Text,
        bool: Flag,
        datetime: Moment,
        date: Day,
    }

    @property
    def serializer_dataclass_field(self) -> Any:
        return BodySerializer

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping) and (unknown := sorted(set(data) - set(self.fields))):
            there = ", ".join(self.fields)
            raise ValidationError({name: [f"There is no field {name!r}; there are {there}."] for name in unknown})
        return super().to_internal_value(data)


def body_of(asked: type[Any]) -> Any:
    """The serializer that reads a body as this dataclass."""
    meta = type("Meta", (), {"dataclass": asked})
    return type(f"{asked.__name__}BodySerializer", (BodySerializer,), {"Meta": meta, "__doc__": asked.__doc__})


class Sends(ApiView):
    """`body`: the serializer of what is sent."""

    body: ClassVar[Any]

    def sent(self, request: HttpRequest) -> Any:
        """What the body says. Raises BadParameters, ValidationError."""
        if unknown := self.given():
            raise BadParameters({name: f"There is no parameter {name!r} here." for name in unknown})
        asked = self.body(data=request.data)
        asked.is_valid(raise_exception=True)
        return asked.validated_data

    def _request(self) -> Request:
        """Raises BadParameters where the key is missing or cannot be kept."""
        key = self.request.META.get("HTTP_IDEMPOTENCY_KEY")
        if key is None:
            raise BadParameters({KEY: f"The header {KEY} has to be sent: it tells a retry from a new request."})
        try:
            return Request.of(key, [self.request.method, self.request.path.rstrip("/"), self._digest()])
        except BadValue as wrong:
            raise BadParameters({KEY: f"{KEY}: {wrong.fault}."}) from wrong

    def _digest(self) -> str:
        """Of the body as it was read, whatever the order of its fields."""
        return hashlib.sha256(json.dumps(self.request.data, sort_keys=True).encode()).hexdigest()


class Writes(Sends, ABC):
    """`answer`: the serializer of what comes back."""

    answer: ClassVar[Any] = serializer_of(Written)

    def post(self, request: HttpRequest, **key: int) -> Response:
        receipt = self.write(self.sent(request), self._request(), **key)
        written = Written(receipt.seq, receipt.subject, receipt.first_id, receipt.last_id)
        status = http.HTTP_200_OK if receipt.repeated else http.HTTP_201_CREATED
        location = self.request.build_absolute_uri(self.where(receipt))
        return Response(self.answer(written).data, status=status, headers={"Location": location})

    @abstractmethod
    def write(self, asked: Any, request: Request, **key: int) -> Receipt:
        """One call of one service with `actor=self.actor`, `at=self.at` and the request."""

    @abstractmethod
    def where(self, receipt: Receipt) -> str:
        """The address of what was written."""
