"""Switched off, an account lets nobody in, and nobody locks everybody out; a new password lets nobody in by the old."""

import pytest
from django.contrib.sessions.models import Session
from django.test import Client

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Account
from pmcore.queries.actors import AccountInactive, actor_of, actor_of_token
from pmcore.queries.people_page import password_mark
from pmcore.services.account_states import (
    ChangedMeanwhile,
    LastAdministrator,
    YourOwnAccount,
    give_password,
    switch_account,
)
from pmcore.services.accounts import UnknownAccount
from pmcore.services.refusals import NotAllowed
from pmcore.services.tokens import create_token
from tests.cast import AT, Hospital, a_person, check_refused
from tests.dashboards.signed_in import signed_in

pytestmark = pytest.mark.django_db

TODAY = AT.date()


def account_of(actor: Actor) -> Account:
    return Account.objects.get_or_create(
        person_id=actor.person, defaults={"username": f"person{actor.person}", "password": "!x"}
    )[0]


def an_administrator(name: str) -> tuple[Actor, Account]:
    actor = a_person(name, Role.ADMINISTRATOR)
    account = account_of(actor)
    account.set_password("heron-quartz-lantern")
    account.save()
    return actor, account


def test_off_ends_its_sessions_and_closes_its_tokens_and_on_opens_the_tokens_again(hospital: Hospital) -> None:
    ruan, odile = signed_in(hospital.ruan), signed_in(hospital.odile)
    account = account_of(hospital.ruan)
    raw = create_token(username=account.username, label="report", actor=hospital.wim, at=AT).raw
    switch_account(account=account.pk, active=False, actor=hospital.wim, at=AT)
    assert "/accounts/login/" in ruan.get("/bench/")["Location"]
    assert odile.get("/equipment/").status_code == 200
    with pytest.raises(AccountInactive):
        actor_of_token(raw, at=AT, on=TODAY)
    switch_account(account=account.pk, active=True, actor=hospital.wim, at=AT)
    assert actor_of_token(raw, at=AT, on=TODAY).person == hospital.ruan.person
    assert "/accounts/login/" in ruan.get("/bench/")["Location"], "its sessions stay ended"


def test_a_session_that_cannot_be_read_stops_nothing(hospital: Hospital) -> None:
    ruan = signed_in(hospital.ruan)
    Session.objects.create(session_key="spoilt", session_data="not signed", expire_date=AT)
    switch_account(account=account_of(hospital.ruan).pk, active=False, actor=hospital.wim, at=AT)
    assert list(Session.objects.values_list("session_key", flat=True)) == ["spoilt"]
    assert ruan.get("/bench/").status_code == 302


def test_nobody_switches_off_themselves(hospital: Hospital) -> None:
    ada, account = an_administrator("Ada Quill-Moor")
    an_administrator("Bo Harrow-Lint")
    with pytest.raises(YourOwnAccount):
        switch_account(account=account.pk, active=False, actor=ada, at=AT)
    assert actor_of(account.pk, on=TODAY).role == Role.ADMINISTRATOR


def test_the_last_administrator_who_can_sign_in_is_not_switched_off(hospital: Hospital) -> None:
    _, last = an_administrator("Ada Quill-Moor")
    no_password = account_of(hospital.wim)  # an administrator too, and yet unable to sign in
    assert not no_password.has_usable_password()
    with pytest.raises(LastAdministrator):
        switch_account(account=last.pk, active=False, actor=hospital.wim, at=AT)
    an_administrator("Bo Harrow-Lint")
    switch_account(account=last.pk, active=False, actor=hospital.wim, at=AT)
    assert not Account.objects.get(pk=last.pk).is_active


@pytest.mark.parametrize("role", [role for role in Role if role != Role.ADMINISTRATOR])
def test_nobody_else_switches_or_gives_a_password(hospital: Hospital, role: Role) -> None:
    account, actor = account_of(hospital.ruan), Actor(hospital.odile.person, role, None)
    with check_refused(NotAllowed, "may not switch an account"):
        switch_account(account=account.pk, active=False, actor=actor, at=AT)
    with check_refused(NotAllowed, "may not give a password"):
        give_password(account=account.pk, password="x", instead_of="", actor=actor, at=AT)
    assert Account.objects.get(pk=account.pk).is_active


def test_a_new_password_lets_nobody_in_by_the_old_one(hospital: Hospital) -> None:
    ruan, account = signed_in(hospital.ruan), account_of(hospital.ruan)
    mark = password_mark(account.pk)
    give_password(account=account.pk, password="abcd-efgh", instead_of=mark, actor=hospital.wim, at=AT)
    account.refresh_from_db()
    assert account.check_password("abcd-efgh")
    assert ruan.get("/bench/").status_code == 302
    with pytest.raises(ChangedMeanwhile):
        give_password(account=account.pk, password="ijkl-mnop", instead_of=mark, actor=hospital.wim, at=AT)
    account.refresh_from_db()
    assert account.check_password("abcd-efgh")


def test_an_account_that_is_not_there_is_named(hospital: Hospital) -> None:
    with pytest.raises(UnknownAccount):
        switch_account(account=404, active=False, actor=hospital.wim, at=AT)
    with pytest.raises(UnknownAccount):
        give_password(account=404, password="x", instead_of="", actor=hospital.wim, at=AT)


def test_whoever_is_switched_off_reads_that_at_the_sign_in(hospital: Hospital) -> None:
    account = account_of(hospital.ruan)
    account.set_password("heron-quartz-lantern")
    account.is_active = False
    account.save()
    words = {"login": account.username, "password": "heron-quartz-lantern"}
    answer = Client().post("/accounts/login/", words, follow=True)
    assert "This account is switched off." in answer.content.decode()
