"""Nobody signs up by themselves: an administrator makes accounts."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings

LAST_ACCOUNT = "last-account"
"""The signed cookie that says who signed in last in a browser; it outlives the session, and lets nobody in."""


class ClosedSignup(DefaultAccountAdapter):  # type: ignore[misc]  # allauth carries no types
    def is_open_for_signup(self, request: Any) -> bool:
        return False

    def post_login(self, request: Any, user: Any, **options: Any) -> Any:
        response = super().post_login(request, user, **options)
        response.set_signed_cookie(
            LAST_ACCOUNT, str(user.pk), httponly=True, samesite="Lax", secure=settings.SESSION_COOKIE_SECURE,
            max_age=30 * 24 * 3600,
        )  # fmt: skip
        return response
