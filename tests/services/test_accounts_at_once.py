"""Forms that are sent many times at once make one account and one token, and two administrators do not lock each other
out."""

from collections import Counter

import pytest

from pmcore.engines.vocabulary import Role
from pmcore.models import Account, Token
from pmcore.queries.people_page import administrators_on
from pmcore.services.account_states import LastAdministrator, switch_account
from pmcore.services.accounts import create_account
from pmcore.services.requests import Request
from pmcore.services.tokens import create_token
from tests.cast import AT, JANUARY, a_hospital
from tests.services.test_account_states import an_administrator
from tests.services.test_append_concurrently import at_once

pytestmark = pytest.mark.django_db(transaction=True)


def test_one_form_makes_one_account():
    wim = a_hospital().wim
    asked = {"username": "ines", "name": "Ines Caddock", "role": Role.TECHNICIAN, "site_labels": ["AG"], "actor": wim}
    request = Request.of("k1", {})
    made = at_once(
        4,
        lambda number: (
            create_account(**asked, password=f"heron-quartz-{number}", at=AT, on=JANUARY, request=request).repeated
        ),
    )
    assert Counter(made) == {True: 3, False: 1}
    first = made.index(False)
    assert Account.objects.get(username="ines").check_password(f"heron-quartz-{first}")


def test_one_form_makes_one_token():
    hospital = a_hospital()
    Account.objects.create(username="odile", person_id=hospital.odile.person)
    request = Request.of("k1", {})
    made = at_once(
        4,
        lambda _: create_token(username="odile", label="audit", actor=hospital.wim, at=AT, request=request).repeated,
    )
    assert Counter(made) == {True: 3, False: 1}
    assert Token.objects.count() == 1


def test_of_two_administrators_who_switch_each_other_off_one_stays():
    a_hospital()
    both = [an_administrator("Ada Quill-Moor"), an_administrator("Bo Harrow-Lint")]

    def switch(number):
        switch_account(account=both[1 - number][1].pk, active=False, actor=both[number][0], at=AT)

    results = at_once(2, switch)
    assert Counter(type(result) for result in results) == {type(None): 1, LastAdministrator: 1}
    assert len(administrators_on(AT.date())) == 1
