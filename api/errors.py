"""Every error as problem details (RFC 9457): what went wrong, in words for whoever calls, and where."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Any

import structlog
from django.core.exceptions import PermissionDenied as DjangoDenied
from django.core.exceptions import RequestDataTooBig
from django.http import Http404
from drf_spectacular.utils import inline_serializer
from rest_framework import exceptions, serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response
from rest_framework.views import set_rollback

from pmcore.queries.asked import AskedRefused, OutsideYourSites
from pmcore.queries.columns import BadValue
from pmcore.queries.compliance_asked import BadParameters
from pmcore.services.refusals import (
    Conflict,
    NotAllowed,
    RecordBusy,
    RecordRefused,
    RequestReused,
    WrongSite,
)

log = structlog.get_logger(__name__)


class ProblemRenderer(JSONRenderer):
    media_type = "application/problem+json"


class BadRequest(Exception):
    """`errors`: a sentence for each parameter or field that will not do, by its name."""

    def __init__(self, errors: dict[str, str], status: int = 400) -> None:
        super().__init__(" ".join(errors.values()))
        self.errors, self.status = errors, status


def problem(error: Exception, context: dict[str, Any]) -> Response:
    """What Django REST framework asks for when a view raises."""
    status, errors, headers = _read(error)
    if status >= 500 and not isinstance(error, RecordBusy):
        log.exception("a request failed", path=context["request"].path, exc_info=error)
    title = HTTPStatus(status).phrase
    detail = _detail(error, status)
    body: dict[str, Any] = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    if errors:
        body["errors"] = errors
    set_rollback()
    response: Any = Response(body, status=status, headers=headers, content_type=ProblemRenderer.media_type)
    response.accepted_renderer = ProblemRenderer()  # whatever was asked for: an error is said in one form
    response.accepted_media_type = ProblemRenderer.media_type
    response.renderer_context = context
    told: Response = response
    return told


_Found = tuple[int, dict[str, str], dict[str, str]]


def _read(error: Exception) -> _Found:
    """Status, errors by name, headers."""
    for kind, tell in _TOLD:
        if isinstance(error, kind):
            return tell(error)
    return 500, {}, {}


def _of_framework(error: Any) -> _Found:
    headers = {}
    if getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = error.auth_header
    if getattr(error, "wait", None):
        headers["Retry-After"] = str(int(error.wait))
    errors = {}
    if isinstance(error, exceptions.ValidationError) and isinstance(error.detail, dict):
        errors = {name: _flat(said) for name, said in error.detail.items()}
    return error.status_code, errors, headers


def _flat(said: Any) -> str:
    if isinstance(said, dict):
        return " ".join(f"{name}: {_flat(each)}" for name, each in said.items())
    return " ".join(_flat(each) for each in said) if isinstance(said, list | tuple) else str(said)


_TOLD: tuple[tuple[type[Exception], Callable[[Any], _Found]], ...] = (
    (BadRequest, lambda error: (error.status, error.errors, {})),
    (BadParameters, lambda error: (400, error.errors, {})),
    (OutsideYourSites, lambda error: (403, {}, {})),
    (AskedRefused, lambda error: (400, {}, {})),
    (BadValue, lambda error: (400, {error.column: error.fault}, {})),
    (NotAllowed, lambda error: (403, {}, {})),
    (WrongSite, lambda error: (403, {}, {})),
    (RequestReused, lambda error: (409, {}, {})),
    (Conflict, lambda error: (409, {}, {})),
    (RecordRefused, lambda error: (422, {}, {})),
    (RecordBusy, lambda error: (503, {}, {"Retry-After": str(error.retry_after)})),
    (RequestDataTooBig, lambda error: (413, {}, {})),
    (Http404, lambda error: (404, {}, {})),
    (DjangoDenied, lambda error: (403, {}, {})),
    (exceptions.APIException, _of_framework),
)


def _detail(error: Exception, status: int) -> str:
    if status == 404:
        return "There is nothing here, or it is not yours to see."
    if status == 500:
        return "Something failed on our side. Nothing that was saved is lost; try again in a minute."
    if status == 413:
        return "The request is larger than this service takes."
    if isinstance(error, exceptions.ValidationError):
        return "Some fields will not do; see `errors`."
    if isinstance(error, exceptions.APIException):
        return _flat(error.detail)
    return str(error)


# As RFC 9457 has it; `errors`: a sentence for each parameter or field that will not do.
_PROBLEM = inline_serializer(
    "Problem",
    {
        "type": serializers.CharField(),
        "title": serializers.CharField(),
        "status": serializers.IntegerField(),
        "detail": serializers.CharField(),
        "errors": serializers.DictField(child=serializers.CharField(), required=False),
    },
)


def problem_responses(*more: int) -> dict[Any, Any]:
    """What any operation may answer besides its own answer, for the schema."""
    return {(status, ProblemRenderer.media_type): _PROBLEM for status in (400, 401, 403, 404, 503, *more)}
