"""Who may call what: every view names the roles for each method; what is not named is refused."""

from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request


class ByRole(BasePermission):
    """The view's `roles`: method to roles."""

    def has_permission(self, request: Request, view: Any) -> bool:
        actor = getattr(request, "auth", None)
        return actor is not None and actor.role in view.roles.get(request.method, ())
