"""From what calls for an alert to the alert, to those who are told, and to their letters: each of them once."""

import datetime as dt
import hmac
import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from email.utils import parseaddr
from zoneinfo import ZoneInfo

import structlog
from django.conf import settings
from django.db import transaction

from pmcore.engines.vocabulary import AlertChannel, MailState
from pmcore.models import Alert, Delivery, Mail
from pmcore.queries.alert_grounds import LATE, OF_DUES, Ground
from pmcore.queries.alert_people import Holders, holders, told
from pmcore.queries.assigned import assigned_among
from pmcore.wake import wake

log = structlog.get_logger(__name__)

SEND = "pmcore.tasks.send_mail"
AT_ONCE = 500

People = Mapping[str, frozenset[int]]
"""By the key of what calls for an alert, who is told."""


@dataclass(frozen=True, slots=True)
class SiteNow:
    """The site's day at a moment. `in_the_morning`: the first look of the day, whose letter is that of the day however
    late it is; what comes up later waits for the next morning whose hour has not passed."""

    at: dt.datetime
    today: dt.date
    time_zone: str
    in_the_morning: bool


def make_alerts(found: Sequence[Ground], now: SiteNow, known: int) -> int:
    """Alerts that were not made before, with their deliveries and letters; how many. All of a portion is written in one
    transaction, so there is no alert of which nobody is told: where there is nobody, none is made, and it is looked for
    again on every day until somebody is there."""
    by_key = {ground.key: ground for ground in found}
    fresh = [by_key[key] for key in sorted(by_key.keys() - _there(by_key.keys()))]
    if not fresh:
        return 0
    heard = [*fresh, *_told_at_once(by_key.values(), fresh)]
    there = holders({ground.site for ground in heard}, on=now.today, known=known)
    dues = [ground.about for ground in heard if ground.rule.kind in OF_DUES]
    given = {
        due: frozenset(each.person for each in people)
        for due, people in assigned_among(dues, as_of=now.today, known=known).items()
    }
    people = {ground.key: _people(ground, there, given) for ground in heard}
    by_letter = _by_letter(heard, people)
    if unheard := {ground.site for ground in fresh if not people[ground.key]}:
        log.warning("a site has nobody who could be told", sites=sorted(unheard))
    fresh = [ground for ground in fresh if people[ground.key]]
    portions = [fresh[start : start + AT_ONCE] for start in range(0, len(fresh), AT_ONCE)]
    return sum(_make(portion, now, people, by_letter) for portion in portions)


def _told_at_once(found: Iterable[Ground], fresh: Sequence[Ground]) -> list[Ground]:
    """What was told at once before, of steps that would now come in a letter of the morning."""
    steps = {(ground.about, ground.days) for ground in fresh if _comes_in_the_morning(ground)}
    known = {ground.key for ground in fresh}
    return [
        ground
        for ground in found
        if _comes_at_once(ground) and (ground.about, ground.days) in steps and ground.key not in known
    ]


def _comes_at_once(ground: Ground) -> bool:
    return ground.rule.kind in LATE and ground.rule.hour is None


def _comes_in_the_morning(ground: Ground) -> bool:
    return ground.rule.kind in LATE and ground.rule.hour is not None


def _there(keys: Collection[str]) -> set[str]:
    found: set[str] = set()
    listed = sorted(keys)
    for start in range(0, len(listed), AT_ONCE):
        some = Alert.objects.filter(unique_key__in=listed[start : start + AT_ONCE])
        found.update(some.values_list("unique_key", flat=True))
    return found


def _make(found: Sequence[Ground], now: SiteNow, people: People, by_letter: People) -> int:
    """Another run may make the same at the same time: of each alert one run does, and that one tells people of it. Rows
    are written in order of their keys, so that two runs wait for one another and never in a circle."""
    run = uuid.uuid4()
    of_key = {ground.key: ground for ground in found}
    with transaction.atomic():
        Alert.objects.bulk_create([_alert(ground, now, run) for ground in found], ignore_conflicts=True)
        mine = list(Alert.objects.filter(run=run).order_by("unique_key"))
        letters = _letters([(each, of_key[each.unique_key], by_letter[each.unique_key]) for each in mine], now, run)
        Delivery.objects.bulk_create(list(_deliveries(mine, people, letters)))
        for letter in sorted({letter for letter, at_once in letters.values() if at_once}):
            wake(SEND, letter)
    return len(mine)


def _alert(ground: Ground, now: SiteNow, run: uuid.UUID) -> Alert:
    return Alert(
        unique_key=ground.key, rule=ground.rule.rule, kind=ground.rule.kind, days=ground.days, site=ground.site,
        about=ground.about, device=ground.device, parameters=ground.parameters, told_on=now.today, made_at=now.at,
        run=run,
    )  # fmt: skip


def _people(ground: Ground, there: Holders, given: Mapping[int, frozenset[int]]) -> frozenset[int]:
    has_it = given.get(ground.about, frozenset()) if ground.rule.kind in OF_DUES else frozenset()
    return told(ground.rule.roles(ground.days), ground.site, there, has_it)


def _by_letter(found: Sequence[Ground], people: People) -> People:
    """Whom a letter tells: who reads at once that an inspection has been overdue for so many days needs no second
    letter in the morning. What stays undone climbs on all the same."""
    at_once: dict[tuple[int, int], set[int]] = defaultdict(set)
    for ground in filter(_comes_at_once, found):
        at_once[ground.about, ground.days] |= people[ground.key]
    return {
        ground.key: people[ground.key] - at_once[ground.about, ground.days]
        if _comes_in_the_morning(ground)
        else people[ground.key]
        for ground in found
    }


Letters = dict[tuple[int, int], tuple[int, bool]]
"""By alert and person, the letter and whether it goes at once."""


def _letters(made: Sequence[tuple[Alert, Ground, frozenset[int]]], now: SiteNow, run: uuid.UUID) -> Letters:
    wanted: dict[tuple[int, int | None], list[int]] = defaultdict(list)
    for alert, ground, people in made:
        for person in people:
            wanted[person, ground.rule.hour].append(alert.pk)
    letters: Letters = {}
    for person, hour in sorted(wanted, key=lambda each: (each[0], -1 if each[1] is None else each[1])):
        letter = _at_once(person, now, run) if hour is None else _of_the_morning(person, hour, now)
        letters.update({(alert, person): (letter, hour is None) for alert in wanted[person, hour]})
    return letters


def _at_once(person: int, now: SiteNow, run: uuid.UUID) -> int:
    """One letter for whatever one run tells a person at once."""
    letter = _letter(f"at-once:{person}:{run.hex}", person, now, now.today, now.at, at_once=True)
    letter.save()
    return letter.pk


def _of_the_morning(person: int, hour: int, now: SiteNow) -> int:
    """The letter of the first morning that no worker has taken yet. The update locks it: whoever takes it meanwhile
    waits, and then sends it with what is added here."""
    day = now.today
    if not now.in_the_morning and now.at >= morning_of(day, hour, now.time_zone):
        day += dt.timedelta(days=1)
    while True:
        key = f"morning:{person}:{now.time_zone}:{hour}:{day}"
        goes_at = morning_of(day, hour, now.time_zone)
        Mail.objects.bulk_create([_letter(key, person, now, day, goes_at, at_once=False)], ignore_conflicts=True)
        untaken = Mail.objects.filter(unique_key=key, state=MailState.WAITING, attempts=0)
        if untaken.update(day=day):
            return int(Mail.objects.get(unique_key=key).pk)
        day += dt.timedelta(days=1)


def _letter(key: str, person: int, now: SiteNow, day: dt.date, goes_at: dt.datetime, *, at_once: bool) -> Mail:
    return Mail(
        unique_key=key, message_id=message_id(key), person=person, at_once=at_once, day=day, time_zone=now.time_zone,
        next_try_at=goes_at,
    )  # fmt: skip


def message_id(key: str) -> str:
    """The same letter of the same installation has the same one, however often it is sent; no other has it."""
    digest = hmac.digest(settings.SECRET_KEY.encode(), key.encode(), "sha256").hex()[:40]
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2]
    return f"<{digest}@{domain}>"


def morning_of(day: dt.date, hour: int, time_zone: str) -> dt.datetime:
    """The moment at which clocks in the zone show the hour on the day, in UTC; where they skip it, an hour later."""
    return dt.datetime.combine(day, dt.time(hour), ZoneInfo(time_zone)).astimezone(dt.UTC)


def _deliveries(alerts: Sequence[Alert], people: People, letters: Letters) -> Iterator[Delivery]:
    for alert in alerts:
        for person in sorted(people[alert.unique_key]):
            yield Delivery(alert=alert, person=person, channel=AlertChannel.IN_APP)
            if (alert.pk, person) in letters:
                letter, _ = letters[alert.pk, person]
                yield Delivery(alert=alert, person=person, channel=AlertChannel.MAIL, mail_id=letter)
