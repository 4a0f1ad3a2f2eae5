"""How the installation is doing, for whoever administers it: its jobs, its daily work, its readers and its record."""

import datetime as dt
from dataclasses import dataclass

from pmcore.engines.site_days import local_day
from pmcore.engines.vocabulary import MailState
from pmcore.models import AlertRuleTerms, AlertSweep, Entry, Follower, Mail, StandingsMark
from pmcore.queries.head import Head, RecordDamaged, head
from pmcore.queries.history_page import Verified, last_verified, verifying
from pmcore.queries.job_list import JobList, job_list
from pmcore.queries.letters import silent_ones
from pmcore.queries.operation import why_not_ready
from pmcore.queries.signed_heads import HeadTold, newest_head
from pmcore.queries.sites import sites_on

STANDINGS = "standings"
_ITS_TURN = dt.timedelta(hours=2)
"""After its midnight a site has this long before it is behind: due inspections are generated every hour."""


@dataclass(frozen=True, slots=True)
class SiteWork:
    """The site's days for which due inspections were last generated and alerts last looked for; None: never. A day
    before `wanted_on` is behind."""

    label: str
    name: str
    today: dt.date
    wanted_on: dt.date
    due_on: dt.date | None
    alerts_on: dt.date | None


@dataclass(frozen=True, slots=True)
class Reader:
    """Who follows the history. `behind`: by so many entries, the oldest of them written at `waiting_since`; fewer than
    none: it has seen more than the history holds. None: it has not begun."""

    name: str
    behind: int | None
    waiting_since: dt.datetime | None


@dataclass(frozen=True, slots=True)
class RecordState:
    """`damage`: why the newest entry gives neither size nor root. `verifying`: how far a verification is that has not
    ended; None: there is none."""

    size: int
    root: str
    damage: str
    head: HeadTold | None
    verified: Verified | None
    verifying: str | None


@dataclass(frozen=True, slots=True)
class Administration:
    """`faults`: what keeps the installation from serving. `rules`: that say on the day who is told of what, those that
    are switched off left out. `letters`: that wait; `silent`: what the mail server said last, where they wait for
    it."""

    faults: tuple[str, ...]
    jobs: JobList
    sites: tuple[SiteWork, ...]
    readers: tuple[Reader, ...]
    record: RecordState
    rules: int
    letters: int
    silent: str | None


def administration(*, at: dt.datetime) -> Administration:
    """Twenty-two statements, however much there is."""
    newest, damage = _head()
    size = 0 if newest is None else newest.size
    silent = silent_ones().order_by("next_try_at").first()
    return Administration(
        faults=tuple(why_not_ready()),
        jobs=job_list(at=at, known=size),
        sites=_sites(at),
        readers=_readers(size),
        record=RecordState(
            size=size,
            root="" if newest is None else newest.root.hex(),
            damage=damage,
            head=newest_head(),
            verified=last_verified(),
            verifying=verifying(),
        ),
        rules=AlertRuleTerms.objects.current().on(at.date()).filter(enabled=True).count(),
        letters=Mail.objects.filter(state__in=[MailState.WAITING, MailState.SENDING]).count(),
        silent=None if silent is None else silent.error,
    )


def _head() -> tuple[Head | None, str]:
    try:
        return head(), ""
    except RecordDamaged as damaged:
        return None, str(damaged)


def _sites(at: dt.datetime) -> tuple[SiteWork, ...]:
    looked = dict(AlertSweep.objects.values_list("site_id", "swept_on"))
    return tuple(
        SiteWork(
            site.label, site.name, local_day(at, site.time_zone), local_day(at - _ITS_TURN, site.time_zone),
            site.swept_on, looked.get(site.site),
        )
        for site in sites_on(at.date())
    )  # fmt: skip


def _readers(size: int) -> tuple[Reader, ...]:
    seen: dict[str, int | None] = dict(Follower.objects.order_by("name").values_list("name", "seen"))
    seen[STANDINGS] = StandingsMark.objects.values_list("size", flat=True).first()
    unread = [mark + 1 for mark in seen.values() if mark is not None]
    written = dict(Entry.objects.filter(seq__in=unread).values_list("seq", "at"))
    return tuple(
        Reader(name, None, None) if mark is None else Reader(name, size - mark, written.get(mark + 1))
        for name, mark in seen.items()
    )
