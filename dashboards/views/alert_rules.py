"""Who is told of what: the rules in sentences, and the forms that make and change them."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from dashboards import alert_rule_words as say
from dashboards.access import Asking, asking, page
from dashboards.alert_rule_form import (
    EVERY_SITE,
    SEEN,
    Terms,
    change_form,
    lines_of,
    new_form,
    put_before,
    put_beside,
    seen_by,
    terms_of,
)
from dashboards.bench_form import request_of
from dashboards.fields import Form
from dashboards.typed import SAID, typed_before
from dashboards.words import day_in_words
from pmcore import alert_words
from pmcore.engines.vocabulary import AlertKind
from pmcore.queries.alert_rules import RuleOnADay, rules_ahead, rules_on
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.services.alert_rules import ChangedMeanwhile, change_rule, make_rule
from pmcore.services.plan_rules import today_at
from pmcore.services.refusals import RecordBusy, RecordRefused
from pmcore.services.requests import Receipt, Request


@page("alert_rules")
def show_rules(request: HttpRequest) -> HttpResponse:
    """Who is told of what, in sentences."""
    found, known = asking(request), head().size
    rules, ahead = _rules(found, known)
    there = {rule.rule for rule in rules}
    first_ahead = {rule.rule: rule for rule in reversed(ahead) if rule.rule not in there}
    context = {
        "quiet": [day_in_words(found.today, weekday=True), f"record size {known:,}"],
        "headline": say.headline(rules),
        "whom": say.WHOM,
        "rules": [_row(rule, found, ahead) for rule in (*rules, *first_ahead.values())],
    }
    return render(request, "dashboards/alert_rules.html", context)


@page("alert_rules")
def make(request: HttpRequest) -> HttpResponse:
    """A rule is added."""
    found = asking(request)
    form = new_form(_names(found).items(), today_at(found.at), request.POST or None)
    texts = {
        "title": "Add a rule",
        "headline": "Add a rule: who is told of what, and when.",
        "second": f"{say.WHOM} What stays undone climbs from line to line.",
        "days_asked": [(alert_words.RULES[kind], say.days_asked(kind)) for kind in AlertKind],
        "button": "Add the rule",
    }

    def send(terms: Terms, key: Request) -> Receipt:
        site = form.of("site").value
        return make_rule(
            kind=AlertKind(form.of("kind").value), site=None if site == EVERY_SITE else int(site), steps=terms.steps,
            at_once=terms.at_once, hour=terms.hour, from_on=terms.from_on, actor=found.actor, at=found.at, request=key,
        )  # fmt: skip

    return _answer(request, form, texts, lambda: _kind_of(form), send)


@page("alert_rules")
def change(request: HttpRequest, rule: int) -> HttpResponse:
    """A rule says something else from a day on, or is switched off."""
    found = asking(request)
    known = head().size
    rules, ahead = _rules(found, known)
    told = next((each for each in (*rules, *ahead) if each.rule == rule), None)
    if told is None:
        raise Http404
    form = change_form(told, today_at(found.at), known, request.POST or None)
    texts = {
        "title": "Change a rule",
        "headline": f"{alert_words.RULES[told.kind]}: who is told of it, and when.",
        "second": f"{_where(told, found)}. What was told stays told; the change is an entry of the record.",
        "days_asked": [(alert_words.RULES[told.kind], say.days_asked(told.kind))],
        "later": [_later(each) for each in ahead if each.rule == rule and each is not told],
        "button": "Change the rule",
    }

    def send(terms: Terms, key: Request) -> Receipt:
        return change_rule(
            rule=rule, steps=terms.steps, at_once=terms.at_once, hour=terms.hour, enabled=terms.enabled,
            from_on=terms.from_on, actor=found.actor, at=found.at, seen=seen_by(form), request=key,
        )  # fmt: skip

    try:
        return _answer(request, form, texts, lambda: told.kind, send)
    except ChangedMeanwhile as changed:
        put_before(form, changed, _later(told), known)
        return _show(request, form, texts, 409)


def _answer(
    request: HttpRequest,
    form: Form,
    texts: dict[str, Any],
    kind: Callable[[], AlertKind | None],
    send: Callable[[Terms, Request], Receipt],
) -> HttpResponse:
    """The form, and what comes back when it is sent. Raises ChangedMeanwhile."""
    if request.method != "POST":
        sent = typed_before(request)
        if sent is not None:
            form.take(sent)
            form.error = SAID
        return _show(request, form, texts, 200)
    form.take(request.POST)
    terms = terms_of(form, kind())
    if terms is None:
        return _show(request, form, texts, 400)
    try:
        send(terms, request_of(request.POST))
    except RecordBusy as busy:
        form.error = f"{busy} Everything that you typed is still here."
        return _show(request, form, texts, 503)
    except ChangedMeanwhile:
        raise
    except (RecordRefused, BadValue) as refused:
        put_beside(form, refused)
        return _show(request, form, texts, 400)
    messages.success(request, f"It is recorded; it holds from {day_in_words(terms.from_on)} on.")
    return redirect("alert_rules")


def _show(request: HttpRequest, form: Form, texts: dict[str, Any], status: int) -> HttpResponse:
    step_names = {each.name for line in lines_of(form) for each in (line.days, line.role)}
    others = [field for field in form.fields if field.name not in step_names | {SEEN}]
    context = {
        **texts,
        "form": form,
        "seen": "".join(field.value for field in form.fields if field.name == SEEN),
        "lines": lines_of(form),
        "before": [field for field in others if field.name in {"kind", "site"}],
        "after": [field for field in others if field.name not in {"kind", "site"}],
    }
    return render(request, "dashboards/alert_rule_form.html", context, status=status)


def _kind_of(form: Form) -> AlertKind | None:
    field = form.of("kind")
    return None if field.error else AlertKind(field.value)


def _names(found: Asking) -> dict[int, str]:
    return {site.site: site.name for site in found.sites}


def _rules(found: Asking, known: int) -> tuple[list[RuleOnADay], list[RuleOnADay]]:
    """Those of the actor's sites: as they hold today, and what is said of later days."""
    names, today = _names(found), found.today
    both = rules_on(today, known), rules_ahead(today, known)
    now, later = ([rule for rule in rules if rule.site is None or rule.site in names] for rules in both)
    return now, later


def _where(rule: RuleOnADay, found: Asking) -> str:
    return "At every site" if rule.site is None else f"At {_names(found)[rule.site]}"


def _row(rule: RuleOnADay, found: Asking, ahead: list[RuleOnADay]) -> dict[str, Any]:
    return {
        "rule": rule,
        "what": alert_words.RULES[rule.kind],
        "where": _where(rule, found),
        "steps": say.steps(rule),
        "how": say.how(rule),
        "begun": rule.from_on <= found.today,
        "later": [_later(each) for each in ahead if each.rule == rule.rule and each is not rule],
    }


def _later(rule: RuleOnADay) -> str:
    """What is recorded from a day on."""
    if not rule.enabled:
        return f"From {day_in_words(rule.from_on)} on it is switched off."
    return f"From {day_in_words(rule.from_on)} on: {'; '.join(say.steps(rule))}. {say.how(rule)}"
