"""Browsers of the tests: signed in as somebody, on a day."""

import datetime as dt

import pytest
from django.test import Client

from pmcore.engines.records import Actor
from pmcore.models import Account


def signed_in(actor: Actor) -> Client:
    account = Account.objects.create_user(f"person{actor.person}", password="a-long-password-1", person_id=actor.person)
    browser = Client()
    browser.force_login(account, backend="allauth.account.auth_backends.AuthenticationBackend")
    return browser


def set_clock(monkeypatch: pytest.MonkeyPatch, at: dt.datetime) -> None:
    monkeypatch.setattr("pmcore.clock.now", lambda: at)
