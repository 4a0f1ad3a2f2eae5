"""Tokens: which keys of the interface are out, whose they are and what they open; made and taken back here."""

import datetime as dt

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from dashboards import people_words as say
from dashboards.access import asking, page
from dashboards.bench_form import request_of
from dashboards.fields import Field, Form, choices_of
from dashboards.sent_forms import answer
from dashboards.shown_once import keep_for_once, shown_once
from dashboards.words import day_in_words, words_of
from pmcore.queries.people_page import accounts_on
from pmcore.queries.sites import sites_on
from pmcore.queries.tokens_page import TokenListed, TokenState, token_at, tokens_at
from pmcore.services.tokens import NoSuchToken, create_token, revoke_token

_DAYS, _MOST_DAYS = 30, 366
_READ_ONLY = (("yes", "It only reads: nothing may be changed by it, and its use is recorded"),)


@page("tokens")
def show(request: HttpRequest) -> HttpResponse:
    """The list: what opens something first."""
    at = asking(request).at
    tokens = tokens_at(at)
    context = {
        "quiet": [day_in_words(at.date(), weekday=True)],
        "headline": say.tokens_headline(tokens),
        "second": say.tokens_second(tokens),
        "rows": [_row(each) for each in tokens],
    }
    return render(request, "dashboards/tokens.html", context)


@page("tokens")
def new(request: HttpRequest) -> HttpResponse:
    """A token, shown on the page after."""
    found = asking(request)
    today = found.at.date()
    accounts = [each for each in accounts_on(today) if each.acts]
    people = choices_of(
        (each.username, f"{say.called(each)} ({each.username}), {words_of(each.role or '')}") for each in accounts
    )
    sites = choices_of((site.label, site.name) for site in sites_on(today))
    form = Form(
        [
            Field("account", "For whom", "select", people, needed="Say whose token it is."),
            Field("label", "Label", hint="What it is for, as “yearly audit”.", needed="Say what it is for."),
            Field(
                "days", "Days that it is good", values=(str(_DAYS),), needed="Say for how many days.",
                hint=f"1 to {_MOST_DAYS}.",
            ),
            Field("read_only", "What it may do", "ticks", _READ_ONLY, ("yes",)),
            Field("sites", "At these sites only", "ticks", sites, hint="None ticked: at all sites of the account."),
            Field("from_on", "For days from", "date", hint="May stay empty."),
            Field("to_on", "For days up to", "date", hint="May stay empty."),
        ]
    )  # fmt: skip
    around = {
        "headline": "Make a token: a key by which a program or an auditor asks the interface.",
        "second": "It is shown once, on the page after this one. Sites and days narrow a read-only token alone.",
        "button": "Make the token",
        "back": (reverse("tokens"), "To the tokens"),
    }

    def send(form: Form) -> str | None:
        days, from_on, to_on = _days(form.of("days")), form.of("from_on").day(), form.of("to_on").day()
        if days is None or form.wrong:
            return None
        made = create_token(
            username=form.of("account").value, label=form.of("label").value, actor=found.actor, at=found.at,
            expires_at=found.at + dt.timedelta(days=days), read_only=form.of("read_only").value == "yes",
            site_labels=form.of("sites").given, from_on=from_on, to_on=to_on, request=request_of(request.POST),
        )  # fmt: skip
        address = reverse("token_shown", args=[made.token])
        if not made.repeated:
            keep_for_once(request, address, made.raw)
        return address

    return answer(request, form, around, send, {})


@page("tokens")
def shown(request: HttpRequest, token: int) -> HttpResponse:
    """The token, once."""
    found = _token(request, token)
    raw = shown_once(request)
    headline = f"This is the token “{found.label}” of {found.name}:"
    context = {
        "headline": headline if raw else f"The token “{found.label}” was shown once, and is not shown again.",
        "secret": raw,
        "second": f"Copy it now: only its hash is kept, and this page shows it once. {say.narrowed_to(found)} "
        f"{say.lifetime(found)}"
        if raw
        else "If nobody copied it, take it back and make another one.",
        "how": raw is not None,
        "back": (reverse("tokens"), "To the tokens"),
        "again": None,
    }
    return render(request, "dashboards/secret.html", context)


@page("tokens")
def back(request: HttpRequest, token: int) -> HttpResponse:
    """Takes it back, after a look at which one it is."""
    found = _token(request, token)
    around = {
        "quiet": [found.name or found.username, found.username],
        "headline": f"Take back the token “{found.label}”?",
        "second": f"Whoever uses it is refused at once, and it cannot be given again. {say.narrowed_to(found)} "
        f"{say.lifetime(found)} {say.last_used(found)}",
        "button": "Take it back",
        "back": (reverse("tokens"), "To the tokens"),
        "nothing": found.state is TokenState.TAKEN_BACK,
    }

    def send(form: Form) -> str:
        try:
            revoke_token(token=token, actor=asking(request).actor, at=asking(request).at)
            messages.success(request, f"The token “{found.label}” opens nothing any more.")
        except NoSuchToken:
            messages.info(request, f"The token “{found.label}” was taken back before.")
        return reverse("tokens")

    return answer(request, Form([]), around, send, {})


def _days(field: Field) -> int | None:
    days = field.number
    if days is None or not 1 <= days <= _MOST_DAYS:
        field.error = f"Say a whole number of days, 1 to {_MOST_DAYS}."
        return None
    return days


def _token(request: HttpRequest, token: int) -> TokenListed:
    found = token_at(token, asking(request).at)
    if found is None:
        raise Http404
    return found


def _row(token: TokenListed) -> dict[str, object]:
    state, pattern = say.token_state(token)
    return {
        "token": token,
        "narrowed": say.narrowed_to(token),
        "lifetime": say.lifetime(token),
        "last_used": say.last_used(token),
        "state": state,
        "pattern": pattern,
        "open": token.state not in {TokenState.TAKEN_BACK, TokenState.EXPIRED},
    }
