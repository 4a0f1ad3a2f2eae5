"""What a person was told of and is still to be done: the open list, most urgent first, and its length."""

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, QuerySet

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AlertChannel, AlertKind, Grouping
from pmcore.models import Alert, AlertAcknowledgement, InstrumentDetails
from pmcore.queries.alert_grounds import OF_DUES
from pmcore.queries.alert_standing import still_standing
from pmcore.queries.assigned import names_of
from pmcore.queries.device_labels import DeviceLabel, labels_of
from pmcore.queries.due_list import DueItem, due_items
from pmcore.queries.group_names import group_names

URGENCY = (
    AlertKind.HIGH_RISK_OVERDUE, AlertKind.OVERDUE, AlertKind.LONG_HOLD, AlertKind.CALIBRATION,
    AlertKind.DUE_UNASSIGNED, AlertKind.OPENED,
)  # fmt: skip
_SINCE = ("closes_on", "placed_on", "good_until_on")


@dataclass(frozen=True, slots=True)
class AlertsFilter:
    """None: all of them. The days, of the sites, on which the person was told. Who said that they know is told up to
    `told_until` too."""

    told_since: dt.date | None = None
    told_until: dt.date | None = None


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """Somebody said that they know. `note` None: none was left, or it was taken out."""

    person: int
    name: str
    at: dt.datetime
    on: dt.date
    note: str | None


@dataclass(frozen=True, slots=True)
class AlertItem:
    """One matter at the furthest step at which the person was told of it. `on`: the day that it is about: the window's
    close, the first day of the hold, the last day of the calibration. `due`: of an inspection as it stands now.
    `stands`: it is still to be done. `hold`: its reason; `instrument`: its label."""

    alert: int
    kind: AlertKind
    days: int
    on: dt.date
    site: int
    site_name: str
    device: DeviceLabel | None
    due: DueItem | None
    hold: str | None
    instrument: str | None
    told_on: dt.date
    made_at: dt.datetime
    stands: bool
    acknowledged: tuple[Acknowledged, ...]


@dataclass(frozen=True, slots=True)
class OpenAlerts:
    """`waiting` of `total` are acknowledged by nobody; `kinds`: how many there are of each. `next_after`: how many rows
    come before the next page; None on the last."""

    as_of: dt.date
    known: int
    rows: tuple[AlertItem, ...]
    total: int
    waiting: int
    kinds: Mapping[AlertKind, int]
    next_after: int | None


EVERY_ALERT = AlertsFilter()


def open_alerts(
    person: int, *, as_of: dt.date, known: int, what: AlertsFilter = EVERY_ALERT, after: int = 0, limit: int = 100
) -> OpenAlerts:
    """What the person was told of and is still so on the day: what nobody acknowledged first, then in order of urgency
    and of days. A fixed number of statements."""
    told = list(_told_within(person, what))
    standing = still_standing(told, today=as_of, known=known)
    acknowledged = _acknowledgements(told, known, what.told_until)
    matters: dict[int, list[Alert]] = defaultdict(list)
    for alert in told:
        if alert.pk in standing:
            matters[alert.about].append(alert)
    known_of = {about: all(each.unique_key in acknowledged for each in alerts) for about, alerts in matters.items()}
    furthest = [min(alerts, key=_urgency) for alerts in matters.values()]
    furthest.sort(key=lambda alert: (known_of[alert.about], _urgency(alert)[0], _about_day(alert), alert.pk))
    shown = furthest[after : after + limit]
    said = {about: [each for alert in matters[about] for each in acknowledged.get(alert.unique_key, ())]
            for about in (alert.about for alert in shown)}  # fmt: skip
    kinds = {kind: sum(alert.kind == kind for alert in furthest) for kind in URGENCY}
    more = after + limit if len(furthest) > after + limit else None
    waiting = sum(not known for known in known_of.values())
    dues = _dues(shown, as_of, known)
    rows = tuple(_items(shown, standing, said, dues, as_of=as_of, known=known))
    return OpenAlerts(as_of, known, rows, len(furthest), waiting, kinds, more)


def alert_items(alerts: Sequence[Alert], *, as_of: dt.date, known: int) -> tuple[AlertItem, ...]:
    """Of each matter among these alerts its furthest step, whether it still stands or not, in order of urgency."""
    dues = _dues(alerts, as_of, known)
    standing = still_standing(alerts, today=as_of, known=known, dues=dues)
    matters: dict[int, list[Alert]] = defaultdict(list)
    for alert in alerts:
        matters[alert.about].append(alert)
    furthest = sorted(
        (min(each, key=_urgency) for each in matters.values()),
        key=lambda alert: (_urgency(alert)[0], _about_day(alert), alert.pk),
    )
    return tuple(_items(furthest, standing, {}, dues, as_of=as_of, known=known))


def unacknowledged(person: int) -> int:
    """How many matters the person was told of that are not over, as last looked at, and acknowledged by nobody: one
    statement, for every page."""
    said = AlertAcknowledgement.objects.current().filter(alert_key=OuterRef("unique_key"))
    return _told(person).filter(~Exists(said)).values("about").distinct().count()


def told_alerts(person: int, alert: int) -> list[Alert]:
    """The alert, if the person was told of it, with all others of the same matter of which they were told."""
    asked = Alert.objects.filter(pk=alert).values_list("about", flat=True).first()
    found = list(_in_app(person).filter(about=asked)) if asked is not None else []
    return found if any(each.pk == alert for each in found) else []


def _in_app(person: int) -> QuerySet[Alert]:
    return Alert.objects.filter(deliveries__person=person, deliveries__channel=AlertChannel.IN_APP)


def _told(person: int) -> QuerySet[Alert]:
    return _in_app(person).filter(over_at__isnull=True)


def _told_within(person: int, what: AlertsFilter) -> QuerySet[Alert]:
    told = _told(person)
    if what.told_since is not None:
        told = told.filter(told_on__gte=what.told_since)
    return told if what.told_until is None else told.filter(told_on__lte=what.told_until)


def _acknowledgements(
    alerts: Iterable[Alert], known: int, until: dt.date | None
) -> dict[str, list[tuple[int, dt.datetime, dt.date, str]]]:
    found: dict[str, list[tuple[int, dt.datetime, dt.date, str]]] = defaultdict(list)
    keys = {alert.unique_key for alert in alerts}
    things = {alert.device or alert.about for alert in alerts}
    rows = AlertAcknowledgement.objects.known(known).filter(thing__among=things).order_by("acknowledged_at", "id")
    if until is not None:
        rows = rows.filter(acknowledged_on__lte=until)
    columns = ("alert_key", "person_id", "acknowledged_at", "acknowledged_on", "note__words")
    for key, *said in rows.values_list(*columns):
        if key in keys:
            found[key].append((said[0], said[1], said[2], said[3]))
    return dict(found)


def _urgency(alert: Alert) -> tuple[int, int]:
    """Of one matter the graver kind first, and of one kind the step that lies furthest on."""
    kind = AlertKind(alert.kind)
    counts_down = kind in (AlertKind.CALIBRATION, AlertKind.DUE_UNASSIGNED)
    return URGENCY.index(kind), alert.days if counts_down else -alert.days


def _about_day(alert: Alert) -> dt.date:
    return next(dt.date.fromisoformat(alert.parameters[name]) for name in _SINCE if name in alert.parameters)


def _dues(alerts: Iterable[Alert], as_of: dt.date, known: int) -> dict[int, DueItem]:
    wanted = {alert.about for alert in alerts if alert.kind in OF_DUES}
    return {item.due_inspection: item for item in due_items(wanted, as_of=as_of, known=known, actor=SYSTEM)}


def _items(
    alerts: Sequence[Alert],
    standing: Collection[int],
    said: Mapping[int, Sequence[tuple[int, dt.datetime, dt.date, str]]],
    dues: Mapping[int, DueItem],
    *,
    as_of: dt.date,
    known: int,
) -> Iterable[AlertItem]:
    labels = labels_of({a.device for a in alerts if a.device is not None}, on=as_of, known=known)
    instruments = InstrumentDetails.objects.known(known).order_by("from_on", "id")
    named = dict(instruments.values_list("instrument_id", "label"))
    sites = group_names(Grouping.SITE, known)
    names = names_of({each[0] for of in said.values() for each in of}, known)
    for alert in alerts:
        heard = {each[0]: Acknowledged(each[0], names[each[0]], *each[1:]) for each in said.get(alert.about, ())}
        yield AlertItem(
            alert=alert.pk,
            kind=AlertKind(alert.kind),
            days=alert.days,
            on=_about_day(alert),
            site=alert.site,
            site_name=sites.get(alert.site, ""),
            device=None if alert.device is None else labels.get(alert.device),
            due=dues.get(alert.about),
            hold=alert.parameters.get("reason"),
            instrument=named.get(alert.about),
            told_on=alert.told_on,
            made_at=alert.made_at,
            stands=alert.pk in standing,
            acknowledged=tuple(heard.values()),
        )
