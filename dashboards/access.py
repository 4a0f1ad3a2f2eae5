"""Who asks for a page, when, and whether it is theirs to see: one table from page to roles."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, Concatenate, ParamSpec, cast

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.views.decorators.cache import never_cache

from dashboards.typed import keep_typed
from pmcore import clock
from pmcore.engines.records import Actor
from pmcore.engines.site_days import earliest_day
from pmcore.engines.vocabulary import Role
from pmcore.queries.actors import NoActor, actor_of
from pmcore.queries.sites import SiteOnADay, sites_on

_OFFICE = frozenset({Role.MANAGER, Role.ADMINISTRATOR})
_AT_WORK = _OFFICE | {Role.SCHEDULER, Role.TECHNICIAN}
_ALL = frozenset(Role) - {Role.SYSTEM}
_STAFF = _ALL - {Role.PROVIDER}

# In the order of the navigation: address name, the word that stands there, the roles that may see it.
PAGES: dict[str, tuple[str, frozenset[Role]]] = {
    "compliance": ("Compliance", _STAFF),
    "reliability": ("Reliability", _STAFF),
    "schedule": ("Schedule", _AT_WORK | {Role.AUDITOR}),
    "bench": ("Bench", _AT_WORK | {Role.PROVIDER}),
    "equipment": ("Equipment", _STAFF),
    "history": ("History", _OFFICE | {Role.AUDITOR}),
    "alerts": ("Alerts", _ALL),
    "administration": ("Administration", frozenset({Role.ADMINISTRATOR})),
}

# Reached from a page of the navigation.
_BEHIND: dict[str, tuple[str, frozenset[Role]]] = {
    "alert_rules": ("Who is told of what", _OFFICE),
    "reported": ("Reported faults", frozenset({Role.TECHNICIAN, Role.MANAGER, Role.SCHEDULER})),
    "letters": ("Letters", frozenset({Role.ADMINISTRATOR})),
    "people": ("People", frozenset({Role.ADMINISTRATOR})),
    "tokens": ("Tokens", frozenset({Role.ADMINISTRATOR})),
}
ROLES = {name: roles for name, (_, roles) in (PAGES | _BEHIND).items()}

_FIRST = {
    Role.SCHEDULER: "schedule",
    Role.TECHNICIAN: "bench",
    Role.PROVIDER: "bench",
    Role.CLINICAL_LEAD: "equipment",
}


@dataclass(frozen=True, slots=True)
class Asking:
    """`today`: the earliest today among the actor's sites; `sites`: those that the actor may see, by label."""

    actor: Actor
    at: dt.datetime
    today: dt.date
    sites: tuple[SiteOnADay, ...]


_P = ParamSpec("_P")
_View = Callable[Concatenate[HttpRequest, _P], HttpResponseBase]


def page(name: str) -> Callable[[_View[_P]], _View[_P]]:
    """A view of a page of `PAGES` or behind one: signed in, in a role that may see it. `asking(request)` then says who
    asks."""

    def decorate(view: _View[_P]) -> _View[_P]:
        @wraps(view)
        def run(request: HttpRequest, *args: _P.args, **options: _P.kwargs) -> HttpResponseBase:
            _let_in(request, ROLES[name])
            cast(Any, request).page = name
            return view(request, *args, **options)

        signed_in = login_required(run)

        @wraps(view)
        def keeping(request: HttpRequest, *args: _P.args, **options: _P.kwargs) -> HttpResponseBase:
            if request.method == "POST" and not request.user.is_authenticated:
                keep_typed(request)
            return signed_in(request, *args, **options)

        return cast(_View[_P], never_cache(keeping))

    return decorate


def asking(request: HttpRequest) -> Asking:
    """Who asks for the page; there is one behind every view that `page` decorates."""
    return cast(Asking, cast(Any, request).asking)


def home_of(role: Role) -> str:
    """The page on which a role starts."""
    return _FIRST.get(role, "compliance")


def look_up(request: HttpRequest) -> Asking:
    """Reads the clock once and finds the actor and the sites. Raises NoActor."""
    at = clock.now()
    account = request.user.pk
    assert account is not None
    actor = actor_of(account, on=at.date())
    sites = tuple(site for site in sites_on(at.date()) if actor.sites is None or site.site in actor.sites)
    return Asking(actor, at, earliest_day(at, [site.time_zone for site in sites]), sites)


def _let_in(request: HttpRequest, roles: frozenset[Role]) -> None:
    try:
        found = look_up(request)
    except NoActor as refused:
        raise PermissionDenied(str(refused)) from refused
    cast(Any, request).asking = found
    if found.actor.role not in roles:
        role = found.actor.role.value.replace("_", " ")
        raise PermissionDenied(f"This page is not for the role {role}.")
