"""The form of a rule of who is told of what: its steps line by line, how it tells, and from when on."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.http import QueryDict

from dashboards.fields import Field, Form, choices_of
from dashboards.words import words_of
from pmcore import alert_words
from pmcore.engines.vocabulary import AlertKind, Role
from pmcore.queries.alert_rules import RuleOnADay, Step
from pmcore.services.alert_rules import (
    MORNING,
    SENSIBLE_DAYS,
    TOLD,
    BadDays,
    BadHour,
    NobodyToTell,
    RuleTwice,
    check_steps,
)
from pmcore.services.plan_rules import DatedBack
from pmcore.services.refusals import RecordRefused, RequestReused, UnknownReference, WrongSite

EVERY_SITE = "every"
SEEN = "seen"
_AT_ONCE = "at_once"
_FEWEST_LINES, _EMPTY_LINES, _MOST_LINES = 4, 2, 20
_ROLES = choices_of((role, words_of(role).capitalize()) for role in TOLD)
_HOW = (
    (_AT_ONCE, "At once"),
    *((str(hour), f"In the letter at {hour}:00 by the site's clock") for hour in range(24)),
)


@dataclass(frozen=True)
class Line:
    """A step as it is typed."""

    number: int
    days: Field
    role: Field


@dataclass(frozen=True)
class Terms:
    """What a form says that can be sent."""

    steps: tuple[Step, ...]
    at_once: bool
    hour: int | None
    enabled: bool
    from_on: dt.date


def new_form(sites: Iterable[tuple[int, str]], today: dt.date, sent: QueryDict | None = None) -> Form:
    """`sites`: that the rule can be for."""
    kinds = choices_of((kind, said) for kind, said in alert_words.RULES.items())
    places = ((EVERY_SITE, "Every site"), *choices_of(sites))
    first = [
        Field("kind", "What is told of", "select", kinds, needed="Say what the rule tells of."),
        Field("site", "Where", "select", places, (EVERY_SITE,), needed="Say where the rule holds."),
    ]
    return Form([*first, *_step_fields((), sent), _how_field(MORNING), _day_field(today)])


def change_form(rule: RuleOnADay, today: dt.date, known: int, sent: QueryDict | None = None) -> Form:
    """With what the rule says so far, in a history of `known` entries."""
    on_off = (("yes", "Switched on"), ("no", "Switched off"))
    enabled = ("yes",) if rule.enabled else ("no",)
    switch = Field("enabled", "Does it tell?", "buttons", on_off, enabled, needed="Say whether the rule tells.")
    day = _day_field(max(today, rule.from_on))
    seen = Field(SEEN, "", "hidden", values=(str(known),))
    return Form([*_step_fields(rule.steps, sent), _how_field(rule.hour), switch, day, seen])


def _step_fields(steps: tuple[Step, ...], sent: QueryDict | None) -> list[Field]:
    """A line for each step and some that are empty; never fewer than were sent."""
    typed = [number for number in range(1, _MOST_LINES + 1) if sent is not None and f"days:{number}" in sent]
    lines = max(_FEWEST_LINES, len(steps) + _EMPTY_LINES, *typed, 0)
    fields = []
    for number in range(1, lines + 1):
        step = steps[number - 1] if number <= len(steps) else None
        fields.append(
            Field(f"days:{number}", f"Days of line {number}", values=() if step is None else (str(step.days),))
        )
        chosen = () if step is None else (str(step.role),)
        fields.append(Field(f"role:{number}", f"Who is told by line {number}", "select", _ROLES, chosen))
    return fields


def _how_field(hour: int | None) -> Field:
    chosen = _AT_ONCE if hour is None else str(hour)
    return Field("how", "How they are told", "select", _HOW, (chosen,), needed="Say how they are told.")


def _day_field(day: dt.date) -> Field:
    return Field("from_on", "From which day on", "date", values=(day.isoformat(),), needed="Say from which day on.")


def lines_of(form: Form) -> list[Line]:
    days = [field for field in form.fields if field.name.startswith("days:")]
    return [Line(number, each, form.of(f"role:{number}")) for number, each in enumerate(days, 1)]


def terms_of(form: Form, kind: AlertKind | None) -> Terms | None:
    """None: something is wrong, and the form says what. `kind` None: it is not known yet."""
    steps = _steps_of(form, kind)
    from_on, how = form.of("from_on").day(), form.of("how").value
    enabled = all(field.value == "yes" for field in form.fields if field.name == "enabled")
    if form.wrong or from_on is None or kind is None:
        return None
    at_once = how == _AT_ONCE
    return Terms(tuple(steps), at_once, None if at_once else int(how), enabled, from_on)


def _steps_of(form: Form, kind: AlertKind | None) -> list[Step]:
    """Says beside each line what is wrong with it, by itself or beside those before it."""
    steps: list[Step] = []
    lines = lines_of(form)
    for line in lines:
        step = _step_of(line, kind)
        if step is None:
            continue
        try:
            if kind is not None:
                check_steps(kind, [*steps, step])
            steps.append(step)
        except RecordRefused as refused:
            wrong = line.days if isinstance(refused, BadDays) else line.role
            wrong.error = str(refused)
    if not steps and not any(line.days.error or line.role.error for line in lines):
        lines[0].role.error = "Say who is told: a rule without a recipient tells nobody."
    return steps


def _step_of(line: Line, kind: AlertKind | None) -> Step | None:
    """None: nothing was typed in the line, or what it was is said to be wrong."""
    days, role = line.days, line.role
    if not (days.value or role.value):
        return None
    if not role.value:
        role.error = role.error or "Say who is told."
    least, most = (None, None) if kind is None else SENSIBLE_DAYS[kind]
    number = least if not days.value and least == most else days.number
    if number is None and not days.error:
        days.error = "Say a whole number of days." if days.value else "Say after or before how many days."
    return None if number is None or role.error else Step(number, Role(role.value))


_BESIDE: dict[type[Exception], str] = {
    DatedBack: "from_on",
    BadHour: "how",
    NobodyToTell: "role:1",
    RuleTwice: "site",
    WrongSite: "site",
    UnknownReference: "site",
}


def seen_by(form: Form) -> int:
    """The size of the history in which the rule was read; of a form that does not say it, before there was any."""
    return form.of(SEEN).number or 0


def put_before(form: Form, changed: Exception, now: str, known: int) -> None:
    """That somebody else was first. Sent once more, the form stands against what the rule says `now`."""
    form.of(SEEN).values = (str(known),)
    form.error = (
        f"{changed} {now} Nothing of yours is recorded, and everything that you typed is still here: look at it "
        "beside theirs, then send it once more."
    )


def put_beside(form: Form, refused: Exception) -> None:
    """What the service refused, beside the field that it is about."""
    if isinstance(refused, RequestReused):
        form.error = "This form was sent before, with other words. Look at the rules, then send it again."
        form.key = Form([]).key
        return
    name = _BESIDE.get(type(refused), "")
    field = next((each for each in form.fields if each.name == name), None)
    if field is None:
        form.error = str(refused)
    else:
        field.error = str(refused)
