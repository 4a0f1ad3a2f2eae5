"""Alerts come of two things: a day passes, which the sweep of a site sees, and something is written, which the follower
of the history sees. Both may come twice and at once; what they find is told once."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Sequence

from django.db import transaction
from django.db.models import F

from pmcore.engines.site_days import local_day
from pmcore.models import Alert, AlertSweep, Device, Entry, Follower
from pmcore.queries.alert_grounds import Looked, grounds
from pmcore.queries.alert_rules import rules_on
from pmcore.queries.alert_standing import still_standing
from pmcore.queries.changed_devices import CHANGE_NOTHING
from pmcore.queries.head import head
from pmcore.queries.sites import SiteOnADay, sites_on
from pmcore.services.alert_making import SiteNow, make_alerts
from pmcore.services.followers import follow

FOLLOWER = "alerts"
OPENED_DAYS = 7
"""After a longer standstill, windows that opened before are not told as newly opened: the other rules tell of them."""

FAR_BEHIND = 5_000
ENTRIES_AT_ONCE = 200
_SETTLED_AT_ONCE = 2_000

_RULES = frozenset({"alert_rule_made", "alert_rule_changed"})
_INSTRUMENTS = frozenset({"instrument_registered", "instrument_described", "instrument_calibrated"})
_NOTHING = CHANGE_NOTHING - _RULES - _INSTRUMENTS - {"inspection_assigned"}


def sweep_site(*, site: SiteOnADay, at: dt.datetime) -> int:
    """Look at everything of a site when its day is another than the one it was last looked at for, or when somebody
    asked for it; how many alerts were made. A missed day is caught up, twice adds nothing."""
    today, known = local_day(at, site.time_zone), head().size
    Follower.objects.get_or_create(name=FOLLOWER, defaults={"seen": known})
    mark, _ = AlertSweep.objects.get_or_create(site_id=site.site)
    if mark.swept_on == today and mark.asked == mark.answered:
        return 0
    looked = Looked(today, frozenset({site.site}), _opened_from(mark.swept_on, today))
    found = grounds(rules_on(today, known), looked, known)
    now = SiteNow(at, today, site.time_zone, in_the_morning=mark.swept_on != today)
    made = make_alerts(found, now, known)
    _settle_site(site.site, today, at, known)
    AlertSweep.objects.filter(site=site.site).update(swept_on=today, answered=mark.asked)
    return made


def follow_alerts(*, at: dt.datetime) -> int:
    """Look at what was written since the last time; how many entries that were. Nothing is done before the first sweep
    of a site has looked at everything; who is far behind asks for that again."""
    follower = Follower.objects.filter(name=FOLLOWER).first()
    if follower is None:
        return 0
    size = head().size
    if size - follower.seen > FAR_BEHIND:
        with transaction.atomic():
            if Follower.objects.filter(name=FOLLOWER, seen=follower.seen).update(seen=size):
                _ask_again()
    read = 0
    while portion := follow(name=FOLLOWER, handle=lambda entries: _handle(entries, at), limit=ENTRIES_AT_ONCE):
        read += portion
    return read


def _handle(entries: Sequence[Entry], at: dt.datetime) -> None:
    kinds = {entry.kind for entry in entries}
    matter = [entry for entry in entries if entry.kind not in _NOTHING | _RULES | _INSTRUMENTS]
    subjects = {entry.subject for entry in matter}
    devices = set(Device.objects.filter(pk__among=subjects).values_list("pk", flat=True)) if subjects else set()
    if kinds & (_RULES | _INSTRUMENTS) or subjects - devices:
        _ask_again()
    if devices:
        _look_at(frozenset(devices), at)


def _look_at(devices: frozenset[int], at: dt.datetime) -> None:
    """On the day of each site that was looked at for it; the others come with their sweep."""
    known = head().size
    swept = dict(AlertSweep.objects.values_list("site_id", "swept_on"))
    alike: dict[tuple[dt.date, str], set[int]] = defaultdict(set)
    for site in sites_on(at.date()):
        today = local_day(at, site.time_zone)
        if swept.get(site.site) == today:
            alike[today, site.time_zone].add(site.site)
    for (today, time_zone), sites in alike.items():
        found = grounds(rules_on(today, known), Looked(today, frozenset(sites), today, devices), known)
        make_alerts(found, SiteNow(at, today, time_zone, in_the_morning=False), known)
        about = Alert.objects.filter(device__among=devices, site__in=sites)
        _settle(list(about), today, at, known)


def _ask_again() -> None:
    AlertSweep.objects.update(asked=F("asked") + 1)


def _opened_from(swept_on: dt.date | None, today: dt.date) -> dt.date:
    """The day after the last look, as far as that is not too long ago; before the first look nothing had opened."""
    if swept_on is None or swept_on >= today:
        return today
    return max(swept_on + dt.timedelta(days=1), today - dt.timedelta(days=OPENED_DAYS - 1))


def _settle_site(site: int, today: dt.date, at: dt.datetime, known: int) -> None:
    open_ones = Alert.objects.filter(site=site, over_at__isnull=True)
    last = 0
    while some := list(open_ones.filter(pk__gt=last).order_by("pk")[:_SETTLED_AT_ONCE]):
        _settle(some, today, at, known)
        last = some[-1].pk


def _settle(alerts: Sequence[Alert], today: dt.date, at: dt.datetime, known: int) -> None:
    """Keep up to date which alerts are over, and which have come back since."""
    standing = still_standing(alerts, today=today, known=known)
    _mark([each.pk for each in alerts if each.over_at is None and each.pk not in standing], at)
    _mark([each.pk for each in alerts if each.over_at is not None and each.pk in standing], None)


def _mark(alerts: Collection[int], over_at: dt.datetime | None) -> None:
    if alerts:
        Alert.objects.filter(pk__in=alerts).update(over_at=over_at)
