"""Nobody signs up by themselves: an administrator makes accounts."""

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter


class ClosedSignup(DefaultAccountAdapter):  # type: ignore[misc]  # allauth carries no types
    def is_open_for_signup(self, request: Any) -> bool:
        return False
