"""Who may call what: one table from resource and method to roles. What is not named is refused.

A provider's people see their own work only: no resource that cannot tell which that is stands open to them.
"""

from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role

_ALL = frozenset(Role) - {Role.SYSTEM}
_STAFF = _ALL - {Role.PROVIDER}
_DEPARTMENT = _STAFF - {Role.CLINICAL_LEAD}
_AT_WORK = _DEPARTMENT - {Role.AUDITOR}

MAY: dict[str, dict[str, frozenset[Role]]] = {
    "schema": {"GET": _ALL},
    "sites": {"GET": _STAFF},
    "areas": {"GET": _STAFF},
    "device-classes": {"GET": _STAFF},
    "device-models": {"GET": _STAFF},
    "devices": {"GET": _STAFF},
    "device": {"GET": _STAFF},
    "procedures": {"GET": _DEPARTMENT},
    "procedure": {"GET": _DEPARTMENT},
    "inspection-plans": {"GET": _DEPARTMENT},
    "due-inspections": {"GET": _DEPARTMENT | {Role.PROVIDER}},
    "due-inspection": {"GET": _DEPARTMENT | {Role.PROVIDER}},
    "assignments": {"GET": _DEPARTMENT | {Role.PROVIDER}, "POST": frozenset({Role.SCHEDULER, Role.MANAGER})},
    "inspections": {"GET": _DEPARTMENT | {Role.PROVIDER}, "POST": _AT_WORK | {Role.PROVIDER}},
    "inspection": {"GET": _DEPARTMENT | {Role.PROVIDER}},
    "fault-reports": {"GET": _STAFF, "POST": _AT_WORK | {Role.CLINICAL_LEAD}},
    "findings": {"GET": _ALL, "POST": frozenset({Role.MANAGER, Role.TECHNICIAN, Role.PROVIDER})},
    "holds": {"GET": _STAFF, "POST": _AT_WORK},
    "releases": {"GET": _STAFF, "POST": frozenset({Role.MANAGER, Role.TECHNICIAN})},
    "compliance": {"GET": _STAFF},
    "compliance-changes": {"GET": _STAFF},
}


class ByRole(BasePermission):
    """The roles that `MAY` names for the view's `resource` and the method; HEAD is as GET."""

    message = "Your role may not do this here."

    def has_permission(self, request: Request, view: Any) -> bool:
        actor = request.auth
        if not isinstance(actor, Actor):
            return False
        method = "GET" if request.method == "HEAD" else str(request.method)
        return actor.role in MAY.get(view.resource, {}).get(method, ())
