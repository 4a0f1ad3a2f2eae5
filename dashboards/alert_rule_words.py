"""The sentences about the rules of who is told of what."""

from collections.abc import Sequence

from django.utils.text import capfirst

from dashboards.words import in_words, words_of
from pmcore.engines.vocabulary import AlertKind
from pmcore.queries.alert_rules import RuleOnADay
from pmcore.services.alert_rules import SENSIBLE_DAYS

WHOM = (
    "Whoever holds the role at the site is told; in a technician's place whoever was given the work, if anybody was. "
    "Where nobody is found so, the site's managers are told, and where there are none its administrators."
)
_COUNTED = {
    AlertKind.DUE_UNASSIGNED: "days before the window closes",
    AlertKind.OPENED: "days after the window opens",
    AlertKind.OVERDUE: "days after the window closed",
    AlertKind.HIGH_RISK_OVERDUE: "days after the window closed",
    AlertKind.LONG_HOLD: "days on hold",
    AlertKind.CALIBRATION: "days before the calibration runs out",
}
"""What the days of a step are counted from."""


def headline(rules: Sequence[RuleOnADay]) -> str:
    count = sum(rule.enabled for rule in rules)
    if not count:
        return "Nobody is told of anything: there is no rule, or all are switched off."
    return f"{capfirst(in_words(count))} rule{' says' if count == 1 else 's say'} who is told of what, and when."


def steps(rule: RuleOnADay) -> list[str]:
    """As they come: what is told beforehand counts down."""
    counts_down = rule.kind in (AlertKind.DUE_UNASSIGNED, AlertKind.CALIBRATION)
    return [_step(rule, days) for days in sorted(rule.days, reverse=counts_down)]


def _step(rule: RuleOnADay, days: int) -> str:
    roles = " and ".join(sorted(words_of(role) for role in rule.roles(days)))
    many = "1 day" if days == 1 else f"{days} days"
    match rule.kind:
        case AlertKind.OPENED:
            return f"on the day: the {roles}"
        case AlertKind.DUE_UNASSIGNED:
            return f"{many} before the window closes: the {roles}"
        case AlertKind.CALIBRATION:
            return f"{many} before: the {roles}" if days else f"on the day: the {roles}"
        case AlertKind.LONG_HOLD:
            return f"after {many}: the {roles}"
        case _:
            return f"from day {days} on: the {roles}"


def how(rule: RuleOnADay) -> str:
    if not rule.enabled:
        return "Switched off."
    return "At once." if rule.hour is None else f"In the letter of the morning, at {rule.hour}:00 by the site's clock."


def days_asked(kind: AlertKind) -> str:
    """What the days of a step mean, and how many make sense."""
    least, most = SENSIBLE_DAYS[kind]
    return f"{_COUNTED[kind]}, {f'always {least}' if least == most else f'from {least} to {most}'}"
