"""Rules of whom to tell of what."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from api.documented import in_the_path
from api.serializers import serializer_of
from api.views import Found, ListView, When
from api.writing import Writes, body_of
from pmcore.engines.vocabulary import AlertKind, Role
from pmcore.queries.alert_rules import RuleOnADay, Step, rules_on
from pmcore.queries.parameters import BadParameters, Parameters, a_word_of
from pmcore.services.alert_rules import change_rule, make_rule
from pmcore.services.requests import Receipt, Request


@dataclass(frozen=True)
class StepSent:
    """After (or before) so many days the people in this role are told."""

    days: int
    role: str


@dataclass(frozen=True)
class RuleSent:
    """`hour`: of the letter of the morning, 7 where nothing is said; none for what is told `at_once`. `site` null: at
    every site. `from_on` null: from today on."""

    kind: str
    steps: tuple[StepSent, ...]
    at_once: bool = False
    hour: int | None = None
    site: int | None = None
    from_on: dt.date | None = None


@dataclass(frozen=True)
class TermsSent:
    """What a rule says from a day on (null: from today on); `enabled` false switches it off. `seen`: the size of the
    history in which you read the rule; if somebody changed it since, nothing is written."""

    steps: tuple[StepSent, ...]
    enabled: bool = True
    at_once: bool = False
    hour: int | None = None
    from_on: dt.date | None = None
    seen: int | None = None


class AlertRules(Writes, ListView):
    resource = "alert-rules"
    says = {
        "GET": "Lists the rules that say who is told of what, as they stand on a day, at your sites.",
        "POST": "Makes a rule: people in these roles are told of matters of this kind.",
    }
    serializer = serializer_of(RuleOnADay)
    body = body_of(RuleSent)

    def read(self, asked: Parameters) -> None:
        """There is nothing to choose."""

    def page(self, chosen: None, when: When, after: int | None, limit: int) -> Found:
        sites, begin = self.actor.sites, after or 0
        rules = [
            rule
            for rule in rules_on(when.as_of, when.known)
            if sites is None or rule.site is None or rule.site in sites
        ]
        return rules[begin : begin + limit], begin + limit if len(rules) > begin + limit else None

    def write(self, asked: RuleSent, request: Request, **key: int) -> Receipt:
        return make_rule(
            kind=_read("kind", asked.kind, AlertKind), steps=_steps(asked.steps), at_once=asked.at_once,
            hour=asked.hour, site=asked.site, from_on=asked.from_on or self.today(), actor=self.actor, at=self.at,
            request=request,
        )  # fmt: skip

    def where(self, receipt: Receipt) -> str:
        return "/api/v1/alert-rules/"


class AlertRuleTerms(Writes):
    resource = "alert-rule-terms"
    says = {"POST": "Changes a rule from a day on, or switches it off; what was told stays told."}
    body = body_of(TermsSent)
    parameters = (in_the_path("rule", "The id of the rule."),)

    def write(self, asked: TermsSent, request: Request, **key: int) -> Receipt:
        return change_rule(
            rule=key["rule"], steps=_steps(asked.steps), at_once=asked.at_once, hour=asked.hour,
            enabled=asked.enabled, from_on=asked.from_on or self.today(), actor=self.actor, at=self.at,
            seen=asked.seen, request=request,
        )  # fmt: skip

    def where(self, receipt: Receipt) -> str:
        return "/api/v1/alert-rules/"


def _steps(sent: Sequence[StepSent]) -> list[Step]:
    return [Step(each.days, _read(f"steps.{at}.role", each.role, Role)) for at, each in enumerate(sent)]


def _read(path: str, text: str, vocabulary: type[StrEnum]) -> Any:
    """Raises BadParameters, by the path of the field."""
    try:
        return a_word_of(vocabulary)(text)
    except ValueError as wrong:
        raise BadParameters({path: f"{path}: {wrong}"}) from wrong
