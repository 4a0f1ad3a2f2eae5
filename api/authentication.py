"""From a token or a session to the actor."""

from typing import Any

from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.request import Request


class ByToken(BaseAuthentication):
    """`Authorization: Token …`."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        return None


class BySession(SessionAuthentication):
    """Whoever is signed in to the pages."""
