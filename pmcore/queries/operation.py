"""How the installation itself is doing: what a load balancer and a monitor ask."""

import datetime as dt
from dataclasses import dataclass

from django.db import Error, connection
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Count

from pmcore.engines.vocabulary import JobState
from pmcore.models import Entry, Job, guards
from pmcore.queries.head import RecordDamaged, head
from pmcore.queries.history_page import VERIFICATION
from pmcore.queries.sites import sites_on


@dataclass(frozen=True, slots=True)
class SiteSwept:
    """`days_behind`: since the day for which its due inspections were last generated; None: they never were."""

    label: str
    days_behind: int | None


@dataclass(frozen=True, slots=True)
class Operation:
    """`jobs`: how many of each state; `sound`: what the last verification said, at `verified_at`; None: there was
    none. `size` is None where the newest entry contradicts itself."""

    size: int | None
    jobs: dict[JobState, int]
    sites: tuple[SiteSwept, ...]
    sound: bool | None
    verified_at: dt.datetime | None


def why_not_ready() -> list[str]:
    """What keeps the installation from serving, in plain words and without secrets; empty: nothing."""
    try:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            return ["Migrations are still to be applied."]
        if guards.missing(connection):
            return ["The record is not guarded."]
        Entry.objects.order_by("-seq").values_list("seq", flat=True).first()
    except Error:
        return ["The database does not answer."]
    return []


def operation(*, today: dt.date) -> Operation:
    """Six statements, however long the history is."""
    counted = dict(Job.objects.values_list("state").annotate(Count("pk")))
    verified = Job.objects.filter(kind=VERIFICATION, state=JobState.DONE).order_by("-ended_at").first()
    answer = verified.answer if verified is not None and isinstance(verified.answer, dict) else {}
    return Operation(
        size=_size(),
        jobs={state: counted.get(state, 0) for state in JobState},
        sites=tuple(
            SiteSwept(site.label, None if site.swept_on is None else (today - site.swept_on).days)
            for site in sites_on(today)
        ),
        sound=answer.get("sound"),
        verified_at=None if verified is None else verified.ended_at,
    )


def _size() -> int | None:
    try:
        return head().size
    except RecordDamaged:
        return None
