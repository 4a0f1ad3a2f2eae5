"""From a token or a session to the actor, which is what `request.auth` holds."""

from typing import Any

from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.request import Request

from api.moments import moment_of
from pmcore.queries.actors import NoActor, TokenRefused, actor_of, actor_of_token

_WORD = "Token"


class ByToken(BaseAuthentication):
    """`Authorization: Token …`."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        word, _, raw = request.headers.get("Authorization", "").partition(" ")
        if not word:
            return None
        if word != _WORD or not raw.strip():
            raise AuthenticationFailed("Write the header as `Authorization: Token …`.")
        at = moment_of(request)
        try:
            return None, actor_of_token(raw.strip(), at=at, on=at.date())
        except TokenRefused as refused:
            raise AuthenticationFailed(str(refused)) from refused
        except NoActor as refused:
            raise PermissionDenied(str(refused)) from refused

    def authenticate_header(self, request: Request) -> str:
        return _WORD


class BySession(SessionAuthentication):
    """Whoever is signed in to the pages."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        found = super().authenticate(request)
        if found is None:
            return None
        account, _ = found
        try:
            return account, actor_of(account.pk, on=moment_of(request).date())
        except NoActor as refused:
            raise PermissionDenied(str(refused)) from refused
