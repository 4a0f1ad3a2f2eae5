"""People: who can sign in, as what and where; an administrator makes accounts, changes them and switches them off."""

import datetime as dt
from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from dashboards import people_words as say
from dashboards.access import ROLES, asking, home_of, look_up, page
from dashboards.bench_form import request_of
from dashboards.fields import Field, Form, choices_of
from dashboards.sent_forms import answer
from dashboards.shown_once import keep_for_once, shown_once
from dashboards.words import day_in_words
from pmcore import clock
from pmcore.engines.site_days import earliest_day
from pmcore.engines.vocabulary import Role
from pmcore.queries.actors import NoActor
from pmcore.queries.parameters import Parameters
from pmcore.queries.people_page import AccountListed, account_on, accounts_on, password_mark
from pmcore.queries.sites import sites_on
from pmcore.services.account_addresses import change_address
from pmcore.services.account_roles import AdministratorFromToday, AlreadySo, DayIsPast, change_role, change_sites
from pmcore.services.account_states import ChangedMeanwhile, LastAdministrator, give_password, switch_account
from pmcore.services.accounts import AddressTaken, UsernameTaken, create_account, new_password

_MANY = 20
_LONGEST_WORDS = 100


@page("people")
def show(request: HttpRequest) -> HttpResponse:
    """The list, by name."""
    asked = Parameters(dict(request.GET.lists()), ("words",))
    words = asked.one("words", _words) or ""
    today = asking(request).at.date()
    accounts = accounts_on(today)
    found = [each for each in accounts if not asked.errors and _fits(each, words)]
    context = {
        "quiet": [day_in_words(today, weekday=True)],
        "headline": say.people_headline(accounts),
        "second": say.people_second(accounts),
        "rows": [_row(each, today) for each in found],
        "words": words,
        "wide": len(accounts) > _MANY or bool(request.GET),
        "error": asked.errors.pop("words", ""),
        "others": list(asked.errors.values()),
    }
    return render(request, "dashboards/people.html", context, status=400 if context["error"] or asked.errors else 200)


@page("people")
def one(request: HttpRequest, account: int) -> HttpResponse:
    """One account, and what can be done about it."""
    found, today = _account(request, account), asking(request).at.date()
    context = {
        "row": _row(found, today),
        "headline": say.person_headline(found),
        "roles": say.role_history(found),
        "own": found.account == request.user.pk,
    }
    return render(request, "dashboards/person.html", context)


@page("people")
def new(request: HttpRequest) -> HttpResponse:
    """A person and their account; the password is shown on the page after."""
    form = Form(
        [
            Field("name", "Name", needed="Say the person's name."),
            Field(
                "username", "User name", needed="Say by what name they sign in.",
                hint="Letters, digits and @ . + - _ only; capitals make no difference.",
            ),
            _address_field(),
            Field("role", "Role", "select", choices_of(say.ROLES.items()), needed="Say in which role they act."),
            _sites_field(request),
        ]
    )  # fmt: skip
    around = {
        "headline": "Make an account: a person in the record, and a way for them to sign in.",
        "second": "Role and sites count from today on. The first password is made for you and shown once, on the page "
        "after this one.",
        "button": "Make the account",
        "back": (reverse("people"), "To the people"),
    }

    def send(form: Form) -> str:
        password, by = new_password(), asking(request)
        made = create_account(
            username=form.of("username").value, password=password, name=form.of("name").value,
            role=Role(form.of("role").value), site_labels=form.of("sites").given, email=form.of("email").value,
            actor=by.actor, at=by.at, on=_begun_everywhere(by.at), request=request_of(request.POST),
        )  # fmt: skip
        address = reverse("person_password_shown", args=[made.account])
        if not made.repeated:
            keep_for_once(request, address, password)
        return address

    return answer(request, form, around, send, {UsernameTaken: "username", AddressTaken: "email"})


@page("people")
def change_role_of(request: HttpRequest, account: int) -> HttpResponse:
    """Another role, from a day on."""
    found = _account(request, account)
    choices = choices_of([*say.ROLES.items(), (say.NO_ROLE, "no role: the account can do nothing")])
    held = (str(found.role),) if found.role else ()
    form = Form(
        [Field("role", "Role", "select", choices, held, needed="Say in which role they act."), _day_field(request)]
    )
    around = _around(found, f"Give {say.called(found)} another role.", "Change the role")

    def send(form: Form) -> str | None:
        from_on, chosen = form.of("from_on").day(), form.of("role").value
        if from_on is None:
            return None
        change_role(
            account=account, role=None if chosen == say.NO_ROLE else Role(chosen), from_on=from_on,
            actor=asking(request).actor, at=asking(request).at, request=request_of(request.POST),
        )  # fmt: skip
        messages.success(request, f"The role is recorded, from {day_in_words(from_on)} on.")
        return _next_page(request, account)

    beside = {DayIsPast: "from_on", AdministratorFromToday: "from_on", AlreadySo: "role", LastAdministrator: "role"}
    return answer(request, form, around, send, beside)


@page("people")
def change_sites_of(request: HttpRequest, account: int) -> HttpResponse:
    """Other sites, from a day on."""
    found = _account(request, account)
    field = replace(_sites_field(request), values=tuple(str(site.label) for site in found.sites))
    form = Form([field, _day_field(request)])
    around = _around(found, f"Say at which sites {say.called(found)} acts.", "Change the sites")

    def send(form: Form) -> str | None:
        from_on = form.of("from_on").day()
        if from_on is None:
            return None
        ids = {site.label: site.site for site in sites_on(asking(request).at.date())}
        change_sites(
            account=account, sites=[ids[label] for label in form.of("sites").given], from_on=from_on,
            actor=asking(request).actor, at=asking(request).at, request=request_of(request.POST),
        )  # fmt: skip
        messages.success(request, f"The sites are recorded, from {day_in_words(from_on)} on.")
        return reverse("person", args=[account])

    return answer(request, form, around, send, {DayIsPast: "from_on", AlreadySo: "sites"})


@page("people")
def change_address_of(request: HttpRequest, account: int) -> HttpResponse:
    """Another address, from today on."""
    found = _account(request, account)
    form = Form([_address_field(found.email)])
    around = _around(found, f"Say where letters to {say.called(found)} go.", "Change the address")
    around["second"] = f"Now: {found.email or 'nowhere, for there is no address'}."

    def send(form: Form) -> str:
        email, by = form.of("email").value, asking(request)
        change_address(
            account=account, email=email, from_on=_begun_everywhere(by.at), actor=by.actor, at=by.at,
            request=request_of(request.POST),
        )  # fmt: skip
        messages.success(request, f"Letters go to {email} from today on." if email else "No letters go out any more.")
        return reverse("person", args=[account])

    return answer(request, form, around, send, {AddressTaken: "email", AlreadySo: "email"})


@page("people")
def switch(request: HttpRequest, account: int) -> HttpResponse:
    """Off, or on again, after a look at what that means."""
    found = _account(request, account)
    name = say.called(found)
    form = Form([Field("to", "", "hidden", values=("off" if found.is_active else "on",))])
    if found.is_active:
        around = _around(found, f"Switch off the account of {name}?", "Switch off")
        around["second"] = (
            "Its sessions end at once, and its tokens open nothing for as long as it is off. The role and the sites "
            "stand in the record as they are: end the role too if the work has ended."
        )
    else:
        around = _around(found, f"Switch the account of {name} on again?", "Switch on")
        around["second"] = "With the role and the sites that the record gives, and the same password and tokens."

    def send(form: Form) -> str | None:
        if form.of("to").value not in {"on", "off"}:
            form.error = "The form does not say whether to switch on or off."
            return None
        active = form.of("to").value == "on"
        switch_account(account=account, active=active, actor=asking(request).actor, at=asking(request).at)
        messages.success(request, f"The account is switched {'on' if active else 'off'}.")
        return reverse("person", args=[account])

    return answer(request, form, around, send, {})


@page("people")
def new_password_for(request: HttpRequest, account: int) -> HttpResponse:
    """One that is made here and shown once; the form's key marks the one that it takes the place of."""
    found = _account(request, account)
    form = Form([], key=password_mark(account))
    around = _around(found, f"Give {say.called(found)} a new password?", "Make a new password")
    around["second"] = "The old one lets nobody in any more, and whoever is signed in by it signs in anew."
    address = reverse("person_password_shown", args=[account])

    def send(form: Form) -> str:
        password = new_password()
        try:
            give_password(
                account=account, password=password, instead_of=form.key, actor=asking(request).actor,
                at=asking(request).at,
            )  # fmt: skip
        except ChangedMeanwhile as before:
            messages.info(request, str(before))
        else:
            keep_for_once(request, address, password)
        return address

    return answer(request, form, around, send, {})


@page("people")
def password_shown(request: HttpRequest, account: int) -> HttpResponse:
    """The password, once."""
    found = _account(request, account)
    password = shown_once(request)
    name = say.called(found)
    headline = f"{name} can sign in as {found.username} with this password:"
    context = {
        "headline": headline if password else f"The password of {name} was shown once, and is not shown again.",
        "secret": password,
        "second": "Write it down or hand it over now: nothing keeps it, and this page shows it once."
        if password
        else "If nobody wrote it down, give a new one.",
        "back": (reverse("person", args=[account]), f"To {name}"),
        "again": (reverse("person_password", args=[account]), "New password"),
    }
    return render(request, "dashboards/secret.html", context)


def _next_page(request: HttpRequest, account: int) -> str:
    """The account's; to whoever just gave up the role that sees it, where the new role starts."""
    try:
        role = look_up(request).actor.role
    except NoActor:
        return reverse("start")
    return reverse("person", args=[account]) if role in ROLES["people"] else reverse(home_of(role))


def _begun_everywhere(at: dt.datetime) -> dt.date:
    """What counts from this day on counts at every site at once, and for signing in."""
    return earliest_day(at, ["UTC", *(site.time_zone for site in sites_on(at.date()))])


def _words(text: str) -> str:
    if len(text) > _LONGEST_WORDS or not text.isprintable():
        raise ValueError(f"At most {_LONGEST_WORDS} letters are looked for, none of them unseen.")
    return text.strip()


def _fits(account: AccountListed, words: str) -> bool:
    sites = " ".join(f"{site.label} {site.name}" for site in account.sites)
    skills = " ".join(account.skills)
    role = say.acts_as(account)
    said = f"{account.name} {account.username} {account.email} {role} {sites} {skills} {say.state_of(account)[0]}"
    return all(word in said.casefold() for word in words.casefold().split())


def _row(account: AccountListed, today: dt.date) -> dict[str, Any]:
    state, pattern = say.state_of(account)
    last = None if account.last_login_at is None else clock.as_told(account.last_login_at)
    return {
        "account": account,
        "called": say.called(account),
        "acts_as": say.acts_as(account),
        "skills": say.listed_in_words(account.skills),
        "later": say.later(account, today),
        "state": state,
        "pattern": pattern,
        "signed_in": say.signed_in(last),
    }


def _account(request: HttpRequest, account: int) -> AccountListed:
    found = account_on(account, asking(request).at.date())
    if found is None:
        raise Http404
    return found


def _address_field(*now: str) -> Field:
    return Field("email", "E-mail", values=now, hint="May stay empty. Letters go there, and one can sign in by it.")


def _sites_field(request: HttpRequest) -> Field:
    """Every site, not only the administrator's own: somebody has to be the first at a new one."""
    sites = choices_of((site.label, site.name) for site in sites_on(asking(request).at.date()))
    return Field("sites", "Sites", "ticks", sites, hint="Where they act. Without one they see none of the equipment.")


def _day_field(request: HttpRequest) -> Field:
    today = asking(request).at.date()
    return Field("from_on", "From this day on", "date", values=(today.isoformat(),), needed="Say from which day on.")


def _around(account: AccountListed, headline: str, button: str) -> dict[str, Any]:
    return {
        "quiet": [say.called(account), account.username],
        "headline": headline,
        "second": f"Now: {say.acts_as(account)}." if account.person else "",
        "button": button,
        "back": (reverse("person", args=[account.account]), f"To {say.called(account)}"),
    }
