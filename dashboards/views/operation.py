"""For machines: whether this installation can serve, and how it is doing."""

import datetime as dt

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from prometheus_client import CollectorRegistry, Gauge, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_LATEST

from pmcore import clock
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.queries.actors import NoActor, actor_of, actor_of_token
from pmcore.queries.operation import Operation, operation, why_not_ready


@never_cache
def readyz(request: HttpRequest) -> HttpResponse:
    """200 and "ready", or 503 and why not. A queue that is down keeps nobody out: what it would have woken waits."""
    faults = why_not_ready()
    said = "\n".join(faults) if faults else "ready"
    return HttpResponse(f"{said}\n", content_type="text/plain; charset=utf-8", status=503 if faults else 200)


@never_cache
def metrics(request: HttpRequest) -> HttpResponse:
    """In the text form of Prometheus, for administrators: signed in, or by a token of theirs. Everything is read from
    the database, so it is the same whichever process answers."""
    at = clock.now()
    try:
        actor = _actor(request, at)
    except NoActor as refused:
        raise PermissionDenied(str(refused)) from refused
    if actor.role is not Role.ADMINISTRATOR:
        raise PermissionDenied("Only an administrator reads the metrics.")
    return HttpResponse(_written(operation(today=at.date()), at), content_type=CONTENT_TYPE_LATEST)


def _actor(request: HttpRequest, at: dt.datetime) -> Actor:
    keyword, _, raw = request.headers.get("Authorization", "").partition(" ")
    if keyword.lower() in {"token", "bearer"}:
        return actor_of_token(raw.strip(), at=at, on=at.date())
    if request.user.pk is None:
        raise PermissionDenied("Sign in, or send a token.")
    return actor_of(request.user.pk, on=at.date())


def _written(found: Operation, at: dt.datetime) -> bytes:
    """What is not known is left out, rather than given as a number."""
    registry = CollectorRegistry()

    def gauge(name: str, says: str, labels: tuple[str, ...] = ()) -> Gauge:
        return Gauge(f"pmcore_{name}", says, labels, registry=registry)

    if found.size is not None:
        gauge("record_entries", "Entries in the history.").set(found.size)
    jobs = gauge("jobs", "Jobs by state.", ("state",))
    for state, count in found.jobs.items():
        jobs.labels(str(state)).set(count)
    behind = gauge("sweep_days_behind", "Days since the one for which due inspections were generated.", ("site",))
    for site in found.sites:
        if site.days_behind is not None:
            behind.labels(site.label).set(site.days_behind)
    if found.sound is not None and found.verified_at is not None:
        gauge("verification_sound", "Whether the last verification found the record sound.").set(found.sound)
        ago = (at - found.verified_at).total_seconds()
        gauge("verification_seconds_ago", "Seconds since the last verification.").set(ago)
    return generate_latest(registry)
