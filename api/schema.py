"""The OpenAPI 3 document; who may read it needs no account: it holds no data."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.renderers import OpenApiJsonRenderer
from drf_spectacular.views import SpectacularJSONAPIView


class Schema(SpectacularJSONAPIView):
    authentication_classes = ()
    permission_classes = ()
    renderer_classes = [OpenApiJsonRenderer]
    roles: dict[str, Any] = {}


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "api.authentication.ByToken"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "`Token ` and the key that create_token printed.",
        }


class SessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    target_class = "api.authentication.BySession"
    name = "session"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}
