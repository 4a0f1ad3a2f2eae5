"""Who may call what: every view names the roles for each method; what is not named is refused."""

from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from pmcore.engines.vocabulary import Role

EVERYBODY = frozenset(Role) - {Role.SYSTEM}
STAFF = EVERYBODY - {Role.PROVIDER}
OFFICE = frozenset({Role.MANAGER, Role.ADMINISTRATOR, Role.AUDITOR, Role.SCHEDULER})
AT_WORK = frozenset({Role.MANAGER, Role.ADMINISTRATOR, Role.SCHEDULER, Role.TECHNICIAN})

Roles = dict[str, frozenset[Role]]


class ByRole(BasePermission):
    """By the view's `roles`: method to roles. HEAD is allowed to whoever may GET."""

    message = "This is not for your role."

    def has_permission(self, request: Request, view: Any) -> bool:
        method = "GET" if request.method == "HEAD" else request.method
        actor: Any = request.auth
        return actor is not None and actor.role in view.roles.get(method, ())
