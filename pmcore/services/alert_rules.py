"""Rules by which people are told of what falls due, is overdue, or stands for too long."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import AlertKind, Role
from pmcore.models import AlertRule, AlertRuleTerms, AlertStep, Site
from pmcore.models.rows import Row
from pmcore.queries.alert_rules import RuleOnADay, Step, rules_on
from pmcore.queries.head import head
from pmcore.services.append import append
from pmcore.services.lock import writing
from pmcore.services.permissions import check_role, check_site, use_case
from pmcore.services.plan_rules import check_from_today
from pmcore.services.refusals import RecordRefused, UnknownReference, WrongSite
from pmcore.services.requests import Receipt, Request

DEED = "make an alert rule"
TOLD = (Role.TECHNICIAN, Role.SCHEDULER, Role.MANAGER, Role.ADMINISTRATOR, Role.CLINICAL_LEAD)
"""Roles that a rule can tell. An auditor reads what happened, and a provider is told of what they were given."""

SENSIBLE_DAYS: dict[AlertKind, tuple[int, int]] = {
    AlertKind.DUE_UNASSIGNED: (1, 90),
    AlertKind.OPENED: (0, 0),
    AlertKind.OVERDUE: (1, 365),
    AlertKind.HIGH_RISK_OVERDUE: (1, 365),
    AlertKind.LONG_HOLD: (1, 365),
    AlertKind.CALIBRATION: (0, 180),
}
"""Of each kind the least and the most days of a step."""

DEFAULTS: dict[AlertKind, tuple[Step, ...]] = {
    AlertKind.DUE_UNASSIGNED: (Step(14, Role.SCHEDULER),),
    AlertKind.OPENED: (Step(0, Role.TECHNICIAN),),
    AlertKind.OVERDUE: (Step(1, Role.TECHNICIAN), Step(7, Role.SCHEDULER), Step(30, Role.MANAGER)),
    AlertKind.HIGH_RISK_OVERDUE: (Step(1, Role.TECHNICIAN), Step(1, Role.SCHEDULER), Step(1, Role.MANAGER)),
    AlertKind.LONG_HOLD: (Step(14, Role.SCHEDULER), Step(30, Role.MANAGER)),
    AlertKind.CALIBRATION: (Step(30, Role.SCHEDULER), Step(0, Role.MANAGER)),
}
"""What a department begins with; common practice, no source."""

AT_ONCE = frozenset({AlertKind.HIGH_RISK_OVERDUE})
_NO_RULE = 0  # the id of a rule that is still to be made
MORNING = 7
"""The hour of the morning's letter, where nobody says another."""


class NobodyToTell(RecordRefused):
    """A rule tells at least one role."""


class BadDays(RecordRefused):
    """A step of so many days makes no sense for this kind of rule."""


class BadHour(RecordRefused):
    """The hour of a letter is one of the day; what is told at once has none."""


class ToldTwice(RecordRefused):
    """The same role stands twice at the same number of days."""


class RuleTwice(RecordRefused):
    """Another rule says the same of the same matters, and would tell the same people twice."""


class ChangedMeanwhile(RecordRefused):
    """Somebody else changed the rule after it was looked at."""


class AlreadySo(RecordRefused):
    """The rule says the same from that day on."""


class NotForThisRole(RecordRefused):
    """A rule cannot tell this role."""


@use_case(DEED, "alert_rule_made")
def make_rule(
    *,
    kind: AlertKind,
    steps: Sequence[Step],
    at_once: bool,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    hour: int | None = None,
    site: int | None = None,
    request: Request | None = None,
) -> Receipt:
    """People are told from a day on, today at the earliest, at one site or (none) at every one: at
    once, or in the letter of the morning at this hour, 7 where none is said.

    Raises NobodyToTell, BadDays, BadHour, ToldTwice, NotForThisRole, RuleTwice, UnknownReference, WrongSite,
    DatedBack, NotAllowed.
    """
    check_steps(kind, steps)
    _check_site(actor, site)
    check_from_today(from_on, at)
    hour = _checked_hour(at_once, hour)
    _check_alone(RuleOnADay(_NO_RULE, kind, site, at_once, hour, True, from_on, tuple(sorted(steps))))
    rule = Row(AlertRule, kind=kind, site=site)
    terms = Row(AlertRuleTerms, rule=rule, from_on=from_on, at_once=at_once, hour=hour, enabled=True)
    rows = [rule, terms, *_steps(terms, steps)]
    return append("alert_rule_made", rule, rows, actor=actor, at=at, request=request)


@use_case(DEED, "alert_rule_changed")
def change_rule(
    *,
    rule: int,
    steps: Sequence[Step],
    at_once: bool,
    enabled: bool,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    hour: int | None = None,
    seen: int | None = None,
    request: Request | None = None,
) -> Receipt:
    """Other steps from a day on, or switched off. What was told stays told. `seen`: the size of the history in which
    the actor saw what the rule says. Raises what `make_rule` does, ChangedMeanwhile, AlreadySo."""
    there = AlertRule.objects.filter(pk=rule).first()
    if there is None:
        raise UnknownReference("alert_rule", [rule])
    check_steps(AlertKind(there.kind), steps)
    _check_site(actor, there.site_id)
    check_from_today(from_on, at)
    hour = _checked_hour(at_once, hour)
    _check_unchanged(rule, seen)
    kind, site = AlertKind(there.kind), there.site_id
    said = RuleOnADay(rule, kind, site, at_once, hour, enabled, from_on, tuple(sorted(steps)))
    _check_another(said)
    if enabled:
        _check_alone(said)
    terms = Row(AlertRuleTerms, rule=rule, from_on=from_on, at_once=at_once, hour=hour, enabled=enabled)
    rows = [terms, *_steps(terms, steps)]
    return append("alert_rule_changed", rule, rows, actor=actor, at=at, request=request)


def make_default_rules(*, from_on: dt.date, actor: Actor, at: dt.datetime) -> list[Receipt]:
    """A rule of each kind of which there is none yet, at every site. Twice is as good as once."""
    check_role(actor, DEED)
    with writing():
        there = set(AlertRule.objects.values_list("kind", flat=True))
        return [
            make_rule(kind=kind, steps=steps, at_once=kind in AT_ONCE, from_on=from_on, actor=actor, at=at)
            for kind, steps in DEFAULTS.items()
            if kind not in there
        ]


def check_steps(kind: AlertKind, steps: Sequence[Step]) -> None:
    """Raises NobodyToTell, BadDays, NotForThisRole, ToldTwice."""
    if not steps:
        raise NobodyToTell("Say whom this rule tells; a rule without a recipient tells nobody.")
    least, most = SENSIBLE_DAYS[kind]
    for step in steps:
        if type(step.days) is not int or not least <= step.days <= most:
            asked = f"{least}" if least == most else f"from {least} to {most}"
            raise BadDays(f"The days of this rule are a whole number {asked}, not {step.days!r}.")
        if step.role not in TOLD:
            raise NotForThisRole(f"A rule tells no {step.role.value.replace('_', ' ')}.")
    if len(set(steps)) < len(steps):
        raise ToldTwice("The same role stands twice at the same number of days.")


def _check_site(actor: Actor, site: int | None) -> None:
    """A rule for every site is made by somebody of every site."""
    sites = set(Site.objects.values_list("pk", flat=True))
    if site is not None:
        if site not in sites:
            raise UnknownReference("site", [site])
        check_site(actor, site)
    elif actor.sites is not None and not sites <= actor.sites:
        raise WrongSite("You are no member of every site; make the rule for one of yours.")


def _check_unchanged(rule: int, seen: int | None) -> None:
    """Nobody changed it since it was looked at, not from a later day on either."""
    if seen is not None and AlertRuleTerms.objects.filter(rule=rule, entry__gt=seen).exists():
        raise ChangedMeanwhile("Somebody changed this rule since you looked at it.")


def _check_another(said: RuleOnADay) -> None:
    """It says something else than what holds on that day."""
    if any(replace(there, from_on=said.from_on) == said for there in rules_on(said.from_on, head().size)):
        raise AlreadySo(f"The rule says just that on {said.from_on} already; there is nothing to change.")


def _check_alone(said: RuleOnADay) -> None:
    """No other rule that is switched on from that day says exactly this at this site, or at every one."""
    for other in rules_on(said.from_on, head().size):
        there = replace(said, rule=other.rule, site=other.site, from_on=other.from_on)
        if other == there and other.rule != said.rule and other.site in (None, said.site):
            where = "at every site" if other.site is None else "at this site"
            raise RuleTwice(f"There is such a rule {where} already; with two, people would be told twice.")


def _checked_hour(at_once: bool, hour: int | None) -> int | None:
    if at_once:
        if hour is not None:
            raise BadHour("What is told at once waits for no hour.")
        return None
    hour = MORNING if hour is None else hour
    if type(hour) is not int or not 0 <= hour <= 23:
        raise BadHour(f"The hour of a letter is a whole number from 0 to 23, not {hour!r}.")
    return hour


def _steps(terms: Row, steps: Sequence[Step]) -> list[Row]:
    return [Row(AlertStep, terms=terms, days=step.days, role=step.role) for step in sorted(steps)]
