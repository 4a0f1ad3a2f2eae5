"""From a token or a session to the actor, who stands as `request.auth`."""

from typing import Any, cast

from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.request import Request

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import TokenDeed
from pmcore.queries.actors import NoActor, actor_of, actor_of_token
from pmcore.services.token_use import note_token_use

_KEYWORD = "token"


class ByToken(BaseAuthentication):
    """`Authorization: Token …`. What opens nothing is 401, whoever else is signed in."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        keyword, _, raw = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
        if keyword.lower() != _KEYWORD:
            return None
        at = _view_of(request).at
        try:
            actor = actor_of_token(raw.strip(), at=at, on=at.date())
        except NoActor as refused:
            raise AuthenticationFailed(str(refused)) from refused
        note_token_use(actor=actor, deed=TokenDeed.READ, at=at)
        return None, actor

    def authenticate_header(self, request: Request) -> str:
        return "Token"


class BySession(SessionAuthentication):
    """Whoever is signed in to the pages; what changes something needs the page's CSRF token."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        signed_in = super().authenticate(request)
        if signed_in is None:
            return None
        user, _ = signed_in
        try:
            return user, actor_of(user.pk, on=_view_of(request).at.date())
        except NoActor as refused:
            raise PermissionDenied(str(refused)) from refused


def _view_of(request: Request) -> Any:
    """The view that is asked; it read the clock."""
    return request.parser_context["view"]


def actor_in(request: Request) -> Actor:
    """Who asks; permission was given before."""
    return cast(Actor, request.auth)
