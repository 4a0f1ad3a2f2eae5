"""Every error as problem details (RFC 9457)."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions
from rest_framework.exceptions import APIException, ErrorDetail
from rest_framework.response import Response

from pmcore.queries.asked import (
    AskedRefused,
    AsOfAhead,
    BadPeriod,
    KnownBeyond,
    OutsideYourPeriod,
    OutsideYourSites,
)
from pmcore.queries.columns import BadValue
from pmcore.queries.parameters import BadParameters
from pmcore.services.refusals import (
    AlreadyReplaced,
    Conflict,
    NotAllowed,
    RecordBusy,
    RecordRefused,
    RequestReused,
    WrongSite,
)

MEDIA_TYPE = "application/problem+json"


class BodyTooLarge(APIException):
    status_code = 413
    default_detail = "The body is larger than this interface takes."


@dataclass(frozen=True, slots=True)
class Problem:
    """`type` names the kind of error and never changes; `errors`: a sentence for each parameter, field or header that
    will not do, by its name."""

    type: str
    title: str
    status: int
    detail: str
    errors: Mapping[str, str] = field(default_factory=dict)

    def content(self) -> dict[str, Any]:
        said = {"type": self.type, "title": self.title, "status": self.status, "detail": self.detail}
        return {**said, "errors": dict(self.errors)} if self.errors else said


# By status: the name of the kind, and what it is called.
_KINDS = {
    400: ("bad-request", "The request could not be read"),
    401: ("not-signed-in", "Nobody is signed in"),
    403: ("not-allowed", "Not yours to do"),
    404: ("not-found", "There is no such thing"),
    405: ("no-such-method", "Not to be done here"),
    406: ("not-acceptable", "Not to be had in that form"),
    409: ("conflict", "The record stands against it"),
    413: ("too-large", "Too much at once"),
    415: ("unsupported-media-type", "Only JSON is read"),
    422: ("refused", "The record refuses it"),
    500: ("failure", "Something failed on our side"),
    503: ("busy", "The record is busy"),
}
_PARAMETER = {AsOfAhead: "as_of", KnownBeyond: "known", BadPeriod: "period", OutsideYourSites: "site"}
_REFUSED = {
    NotAllowed: 403,
    WrongSite: 403,
    RequestReused: 409,
    AlreadyReplaced: 409,
    Conflict: 409,
}
_OWN_WORDS: dict[type[Exception], str] = {
    exceptions.NotAuthenticated: "Send a token in the header Authorization, as `Token …`, or sign in to the pages.",
    exceptions.NotAcceptable: "It is to be had as application/json alone.",
}
_FAILED = "Nothing that was saved is lost. Try again in a minute."


def problem(error: Exception, context: dict[str, Any]) -> Response | None:
    """None: nobody foresaw it; it is logged, and `Problems` answers for it."""
    found = problem_of(error)
    if found is None:
        return None
    response = Response(found.content(), status=found.status, content_type=MEDIA_TYPE)
    if header := getattr(error, "auth_header", None):
        response["WWW-Authenticate"] = header
    if isinstance(error, RecordBusy):
        response["Retry-After"] = str(error.retry_after)
    return response


def problem_of(error: Exception) -> Problem | None:
    match error:
        case BadParameters():
            return Problem(_type("bad-parameters"), "Parameters will not do", 400, str(error), error.errors)
        case AskedRefused():
            outside = isinstance(error, OutsideYourSites | OutsideYourPeriod)
            status, name = (403 if outside else 400), _PARAMETER.get(type(error))
            title = _sentence_of(error) or "It cannot be had as it was asked for"
            return Problem(_type(_kebab(error)), title, status, str(error), {name: str(error)} if name else {})
        case RecordBusy():
            return of_status(503, str(error))
        case RecordRefused():
            status = next((number for kind, number in _REFUSED.items() if isinstance(error, kind)), 422)
            title = _sentence_of(error) or _KINDS[status][1]
            return Problem(_type(_kebab(error)), title, status, str(error))
        case BadValue():
            title = "A value cannot be recorded"
            return Problem(
                _type("bad-value"), title, 422, f"{error.column}: {error.fault}", {error.column: error.fault}
            )
        case exceptions.ValidationError():
            errors = dict(_flat(error.detail))
            return Problem(_type("bad-body"), "The body will not do", 400, _listed(errors), errors)
        case Http404():
            return of_status(404, "It does not exist, or it is not at your sites.")
        case PermissionDenied():
            return of_status(403, str(error) or "This is not yours to do.")
        case APIException():
            return of_status(error.status_code, _OWN_WORDS.get(type(error)) or str(error.detail))
    return None


def of_status(status: int, detail: str) -> Problem:
    name, title = _KINDS.get(status, (f"status-{status}", "It cannot be done"))
    return Problem(_type(name), title, status, detail)


def failure(status: int) -> Problem:
    """For an answer that was made outside the interface: nothing of it is passed on."""
    details = {400: "The request could not be read.", 403: "This is not yours to do.", 404: "There is no such address."}
    return of_status(status, details.get(status, _FAILED))


def _type(name: str) -> str:
    return f"urn:pmcore:problem:{name}"


def _kebab(error: Exception) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", "-", type(error).__name__).lower()


def _sentence_of(error: Exception) -> str | None:
    """The first sentence of the error's own description: what it is called, whatever the occasion."""
    described = type(error).__dict__.get("__doc__")
    return " ".join(described.split()).partition(". ")[0].rstrip(".") if described else None


def _flat(detail: Any, path: str = "") -> list[tuple[str, str]]:
    """Errors by the path of the field, as `readings.0.step`."""
    match detail:
        case dict():
            return [pair for name, each in detail.items() for pair in _flat(each, _below(path, name))]
        case list() if all(isinstance(each, ErrorDetail) for each in detail):
            return [(path or "body", " ".join(detail))]
        case list():
            return [pair for at, each in enumerate(detail) for pair in _flat(each, _below(path, at))]
    return [(path or "body", str(detail))]


def _below(path: str, name: Any) -> str:
    if name == "non_field_errors":
        return path
    return f"{path}.{name}" if path else str(name)


def _listed(errors: Mapping[str, str]) -> str:
    return " ".join(f"{name}: {sentence}" for name, sentence in errors.items())
