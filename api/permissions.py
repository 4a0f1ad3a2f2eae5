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
_CHECKING = frozenset({Role.AUDITOR, Role.MANAGER, Role.ADMINISTRATOR})
_OFFICE = frozenset({Role.MANAGER, Role.ADMINISTRATOR})

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
    "failure-rates": {"GET": _STAFF},
    "comparisons": {"GET": _STAFF},
    "standouts": {"GET": _STAFF},
    "history-exports": {"GET": _CHECKING, "POST": _CHECKING},
    "history-export": {"GET": _CHECKING, "DELETE": _CHECKING},
    "history-export-file": {"GET": _CHECKING},
    "heads": {"GET": _CHECKING},
    "alerts": {"GET": _ALL},
    "alert-acknowledgement": {"POST": _AT_WORK | {Role.PROVIDER}},
    "alert-rules": {"GET": _DEPARTMENT, "POST": _OFFICE},
    "alert-rule-terms": {"POST": _OFFICE},
}
# What a read-only token may send: it changes nothing that anybody recorded.
_SENT_BY_READ_ONLY_TOKENS = frozenset({("history-exports", "POST")})


class ByRole(BasePermission):
    """The roles that `MAY` names for the view's `resource` and the method; HEAD is as GET."""

    message = "Your role may not do this here."

    def has_permission(self, request: Request, view: Any) -> bool:
        actor = request.auth
        if not isinstance(actor, Actor):
            return False
        method = "GET" if request.method == "HEAD" else str(request.method)
        if actor.token is not None and method != "GET" and (view.resource, method) not in _SENT_BY_READ_ONLY_TOKENS:
            self.message = "A read-only token changes nothing."
            return False
        return actor.role in MAY.get(view.resource, {}).get(method, ())
