"""Who may do what: one table, and what happens before every service."""

import datetime as dt
from collections.abc import Callable
from functools import wraps
from typing import Any, ParamSpec

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.queries.assigned import is_given
from pmcore.queries.whereabouts import site_of_area, site_of_device
from pmcore.services.lock import writing
from pmcore.services.refusals import NotAllowed, UnknownReference, WrongSite
from pmcore.services.requests import Receipt, answered

_OFFICE = frozenset({Role.ADMINISTRATOR, Role.SYSTEM})
_ADMINISTRATOR = frozenset({Role.ADMINISTRATOR})
_MANAGED = _OFFICE | {Role.MANAGER}
_MANAGER = frozenset({Role.MANAGER, Role.SYSTEM})  # not the administrator, who answers for no device
_AT_WORK = _MANAGED | {Role.SCHEDULER, Role.TECHNICIAN}
_EXPORTING = frozenset({Role.AUDITOR, Role.MANAGER, Role.ADMINISTRATOR})

MAY: dict[str, frozenset[Role]] = {
    "open a site": _OFFICE,
    "describe a site": _OFFICE,
    "open an area": _OFFICE,
    "describe an area": _OFFICE,
    "set holidays": _OFFICE,
    "register a person": _OFFICE,
    "give a role": _OFFICE,
    "give an address": _OFFICE,
    "set a membership": _OFFICE,
    "register a provider": _OFFICE,
    "switch an account": _ADMINISTRATOR,
    "give a password": _ADMINISTRATOR,
    "make a token": _OFFICE,
    "take back a token": _OFFICE,
    "redact": _OFFICE,
    "register a class": _MANAGED,
    "register a model": _MANAGED,
    "register a revision": _MANAGED,
    "register a device": _MANAGED,
    "correct a device": _MANAGED,
    "move a device": _AT_WORK,
    "set a tag": _AT_WORK,
    "store a device": _AT_WORK,
    "mark not located": _AT_WORK,
    "mark found again": _AT_WORK,
    "declare a device lost": _MANAGER,
    "put out of the inventory": _MANAGED,
    "return a device": _AT_WORK,
    "swap a device": _AT_WORK,
    "receive a device": _AT_WORK,
    "set whose it is": _MANAGED,
    "lend a device": _AT_WORK,
    "record use": _AT_WORK | {Role.CLINICAL_LEAD},
    "read a meter": _AT_WORK,
    "attach a file": _AT_WORK,
    "write a procedure": _MANAGER,
    "approve a procedure": _MANAGER,
    "make a plan": _MANAGER,
    "change a setting": _MANAGED,
    "assess risk": _MANAGER,
    "give out an inspection": _MANAGER | {Role.SCHEDULER},
    "record an inspection": _AT_WORK | {Role.PROVIDER},  # a provider: on devices that they were given
    "correct an inspection": _MANAGED,
    "report a fault": _AT_WORK | {Role.CLINICAL_LEAD},
    "take back a fault report": _MANAGED,
    "make a finding": _MANAGER | {Role.TECHNICIAN, Role.PROVIDER},  # a provider: on devices that they were given
    "reclassify a finding": _MANAGER | {Role.TECHNICIAN},
    "take back a finding": _MANAGED,
    "place a hold": _AT_WORK,
    "take back a hold": _MANAGER,
    "sign a release": _MANAGER | {Role.TECHNICIAN},
    "take back a release": _MANAGED,
    "record an attempt": _AT_WORK | {Role.PROVIDER},
    "record a reason": _AT_WORK,
    "correct a reason": _MANAGED,
    "export the history": _EXPORTING,
    "cancel an export": _EXPORTING,
    "make an alert rule": _MANAGED,
    "acknowledge an alert": _AT_WORK | {Role.PROVIDER},  # each of them what they were told
    "verify the record": _EXPORTING,
    "retry a job": frozenset({Role.ADMINISTRATOR}),
}

_P = ParamSpec("_P")


def use_case(deed: str, *kinds: str) -> Callable[[Callable[_P, Receipt]], Callable[_P, Receipt]]:
    """A service with the keywords `actor` and, perhaps, `request`, that writes an entry of one of the `kinds`: a retry
    gets its first receipt before anything is checked, only a role that may do the deed gets in, and what the service
    checks under the lock still holds when it writes. Raises RequestReused, NotAllowed, RecordBusy.
    """

    def decorate(service: Callable[_P, Receipt]) -> Callable[_P, Receipt]:
        @wraps(service)
        def run(*args: _P.args, **options: _P.kwargs) -> Receipt:
            actor: Any = options["actor"]
            request: Any = options.get("request")
            if (earlier := answered(actor, request, *kinds)) is not None:
                return earlier
            check_role(actor, deed)
            with writing():
                # The same request may have been answered while this one waited for the lock.
                return answered(actor, request, *kinds) or service(*args, **options)

        return run

    return decorate


# What a read-only token may do all the same: it changes nothing that anybody recorded.
_BY_READ_ONLY_TOKENS = frozenset({"export the history"})


def check_role(actor: Actor, deed: str) -> None:
    """Raises NotAllowed."""
    if actor.token is not None and deed not in _BY_READ_ONLY_TOKENS:
        raise NotAllowed("A read-only token changes nothing.")
    if actor.role not in MAY[deed]:
        raise NotAllowed(f"The role {actor.role.value.replace('_', ' ')} may not {deed}.")


def check_site(actor: Actor, site: int | None) -> None:
    """The actor is a member of the site; none stands for a place that nobody knows. Raises WrongSite."""
    if site is not None and actor.sites is not None and site not in actor.sites:
        raise WrongSite(f"You are no member of the site {site}.")


def check_area(actor: Actor, area: int) -> None:
    """Raises WrongSite, UnknownReference."""
    site = site_of_area(area)
    if site is None:
        raise UnknownReference("area", [area])
    check_site(actor, site)


def check_given(actor: Actor, device: int) -> None:
    """A provider works on what they were given, and on nothing else. Raises NotAllowed."""
    if actor.role is Role.PROVIDER and not is_given(actor.person or 0, device):
        raise NotAllowed("A provider records work on devices that were given to them.")


def check_device(actor: Actor, device: int, on: dt.date) -> None:
    """The device stands at a site of the actor's on that day. Raises WrongSite."""
    check_site(actor, site_of_device(device, on))
