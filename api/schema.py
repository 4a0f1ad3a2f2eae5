"""The OpenAPI document: what each operation says of itself, and where it is read."""

from functools import cache
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, inline_serializer
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.errors import MEDIA_TYPE
from api.views import ApiView, ListView, OneView
from pmcore.queries.exports import MEDIA_TYPES


class ProblemSerializer(serializers.Serializer[Any]):
    """Problem details (RFC 9457). `errors`: a sentence for each parameter, field or header that will not do."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    errors = serializers.DictField(child=serializers.CharField(), required=False)  # type: ignore[assignment]


class DocumentSerializer(serializers.Serializer[Any]):
    """An OpenAPI 3 document."""

    openapi = serializers.CharField()
    info = serializers.DictField()
    paths = serializers.DictField()
    components = serializers.DictField()


_ERRORS = (400, 401, 403, 404, 406, 500)
_ERRORS_OF_WRITING = (409, 413, 415, 422, 503)


class Documented(AutoSchema):
    """Reads what the view declares: its parameters, its one sentence, its serializer."""

    view: Any

    def get_operation_id(self) -> str:
        reads = "list" if isinstance(self.view, ListView) else "get"
        verb = {"GET": reads, "POST": "record", "DELETE": "cancel"}[self.method]
        return "_".join([verb, *self.view.resource.split("-"), *self._file().split(".")[1:]])

    def _file(self) -> str:
        """The name of the file that the view gives, where it is no JSON."""
        return str(getattr(self.view, "file", ""))

    def get_description(self) -> str:  # type: ignore[override]
        return str(self.view.says[self.method])

    def get_tags(self) -> list[str]:
        return [self.path.removeprefix("/api/v1/").partition("/")[0]]

    def get_override_parameters(self) -> list[Any]:
        found = [each.documented() for each in self.view.parameters if self.method == "GET" or each.place == "path"]
        if self.method == "POST" and getattr(self.view, "is_keyed", True):
            says = "1 to 100 printable ASCII characters; the same key and body give the first answer again."
            found.append(
                OpenApiParameter("Idempotency-Key", str, OpenApiParameter.HEADER, required=True, description=says)
            )
        return found

    def get_request_serializer(self) -> Any:
        return getattr(self.view, "body", None) if self.method == "POST" else None

    def get_response_serializers(self) -> Any:
        problems = {(status, MEDIA_TYPE): ProblemSerializer for status in self._errors()}
        if self.method == "POST":
            answer = self.view.answer
            return {201: answer, 200: answer, **problems}
        if self._file():
            return {(200, MEDIA_TYPES[self._file()].partition(";")[0]): OpenApiTypes.BINARY, **problems}
        return {200: self._answer(), **problems}

    def _errors(self) -> tuple[int, ...]:
        return _ERRORS if self.method == "GET" else _ERRORS + _ERRORS_OF_WRITING

    def _answer(self) -> Any:
        serializer = self.view.serializer
        when: dict[str, Any] = {"as_of": serializers.DateField(), "known": serializers.IntegerField()}
        if isinstance(self.view, ListView):
            fields = {"results": serializer(many=True), "next": serializers.URLField(allow_null=True), **when}
            return inline_serializer(f"{self._called(serializer)}Page", fields)
        if isinstance(self.view, OneView):
            fields = {**serializer().get_fields(), **when}
            return inline_serializer(f"{self._called(serializer)}OnADay", fields)
        return serializer

    def _called(self, serializer: Any) -> str:
        return str(serializer.__name__).removesuffix("Serializer")


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "api.authentication.ByToken"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        says = "`Authorization: Token …`, with a token that `manage.py create_token` made."
        return {"type": "apiKey", "in": "header", "name": "Authorization", "description": says}


class SessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "api.authentication.BySession"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        says = "Whoever is signed in to the pages; writing needs the header `X-CSRFToken` as well."
        return {"type": "apiKey", "in": "cookie", "name": "sessionid", "description": says}


class Schema(ApiView):
    resource = "schema"
    says = {"GET": "Gives this document."}
    serializer = DocumentSerializer
    period = ()

    def get(self, request: Request) -> Response:
        self.asked().refuse()
        return Response(document())


@cache
def document() -> dict[str, Any]:
    """Of all resources, whoever asks."""
    generator = SchemaGenerator(urlconf="api.urls")  # type: ignore[no-untyped-call]
    found: dict[str, Any] = generator.get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    return found
