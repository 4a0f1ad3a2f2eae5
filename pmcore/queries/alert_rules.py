"""The rules by which people are told, as they stand on a day."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass

from django.db.models import QuerySet

from pmcore.engines.vocabulary import AlertKind, Role
from pmcore.models import AlertRuleTerms, AlertStep


@dataclass(frozen=True, slots=True, order=True)
class Step:
    """After so many days (before: of what is due, opens or runs out) the people in this role are told."""

    days: int
    role: Role


@dataclass(frozen=True, slots=True)
class RuleOnADay:
    """`site` None: at every site. `hour`: of the morning's letter; None: it tells at once. `steps` in order of days.
    `from_on`: since when these terms hold."""

    rule: int
    kind: AlertKind
    site: int | None
    at_once: bool
    hour: int | None
    enabled: bool
    from_on: dt.date
    steps: tuple[Step, ...]

    def roles(self, days: int) -> frozenset[Role]:
        """Who is told at the step of so many days."""
        return frozenset(step.role for step in self.steps if step.days == days)

    @property
    def days(self) -> tuple[int, ...]:
        """Of each step, the smallest number first."""
        return tuple(sorted({step.days for step in self.steps}))


def rules_on(day: dt.date, known: int) -> list[RuleOnADay]:
    """Every rule that holds on the day, switched off ones too, in order of kind and id; two statements."""
    found = _with_steps(AlertRuleTerms.objects.known(known).on(day).select_related("rule"), known)
    return sorted(found, key=lambda rule: (list(AlertKind).index(rule.kind), rule.rule))


def rules_ahead(day: dt.date, known: int) -> list[RuleOnADay]:
    """What is already said of rules from later days on, in order of those days; two statements."""
    later = AlertRuleTerms.objects.known(known).filter(from_on__gt=day).select_related("rule").order_by("from_on", "pk")
    last = {(each.rule, each.from_on): each for each in _with_steps(later, known)}  # of one day the last word counts
    return list(last.values())


def _with_steps(asked: "QuerySet[AlertRuleTerms]", known: int) -> list[RuleOnADay]:
    terms = list(asked)
    steps: dict[int, list[Step]] = defaultdict(list)
    rows = AlertStep.objects.known(known).filter(terms__in=[each.pk for each in terms])
    for of, days, role in rows.values_list("terms_id", "days", "role"):
        steps[of].append(Step(days, Role(role)))
    return [
        RuleOnADay(
            each.rule_id, AlertKind(each.rule.kind), each.rule.site_id, each.at_once, each.hour, each.enabled,
            each.from_on,
            tuple(sorted(steps[each.pk])),
        )
        for each in terms
    ]  # fmt: skip
