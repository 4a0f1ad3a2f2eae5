"""Who may do what: one table, and the two questions that every service asks first."""

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.services.refusals import NotAllowed, WrongSite

_OFFICE = frozenset({Role.ADMINISTRATOR, Role.SYSTEM})
_MANAGED = _OFFICE | {Role.MANAGER}
_MANAGER = frozenset({Role.MANAGER, Role.SYSTEM})  # not the administrator, who answers for no device
_AT_WORK = _MANAGED | {Role.SCHEDULER, Role.TECHNICIAN}

MAY: dict[str, frozenset[Role]] = {
    "open a site": _OFFICE,
    "register a person": _OFFICE,
    "redact": _OFFICE,
    "set holidays": _MANAGED,
    "open an area": _MANAGED,
    "register a model": _MANAGED,
    "register a device": _MANAGED,
    "correct a device": _MANAGED,
    "move a device": _AT_WORK,
    "attach a file": _AT_WORK,
    "write a procedure": _MANAGER,
    "approve a procedure": _MANAGER,
    "make a plan": _MANAGER,
    "change a setting": _MANAGED,
    "record an inspection": _AT_WORK,
    "correct an inspection": _MANAGED,
    "place a hold": _AT_WORK,
    "take back a hold": _MANAGED,
    "record an attempt": _AT_WORK,
    "record a reason": _AT_WORK,
    "correct a reason": _MANAGED,
}


def check_role(actor: Actor, deed: str) -> None:
    """Raises NotAllowed."""
    if actor.role not in MAY[deed]:
        raise NotAllowed(f"A {actor.role.value.replace('_', ' ')} may not {deed}.")


def check_site(actor: Actor, *sites: int | None) -> None:
    """The actor is a member of each site; none stands for a place that nobody knows. Raises WrongSite."""
    for site in sites:
        if site is not None and actor.sites is not None and site not in actor.sites:
            raise WrongSite(f"You are no member of the site {site}.")
