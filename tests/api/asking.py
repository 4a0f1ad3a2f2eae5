"""Who asks the interface in the tests, and how."""

import datetime as dt
import itertools
from dataclasses import dataclass
from typing import Any

from django.test import Client

from pmcore.engines.records import SYSTEM, Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Account
from pmcore.services.tokens import create_token

NOW = dt.datetime(2026, 10, 31, 12, tzinfo=dt.UTC)
PROBLEM = "application/problem+json"

_numbers = itertools.count()


@dataclass
class Asker:
    """Asks by a token."""

    token: str

    def get(self, path: str, /, status: int = 200, **parameters: Any) -> Any:
        """What is answered to the question under /api/v1/, read; it had that status."""
        response = self.response("get", f"/api/v1/{path}", parameters)
        assert response.status_code == status, response.content
        assert response["Content-Type"] == ("application/json" if status < 400 else PROBLEM)
        return response.json()

    def response(self, method: str, path: str, /, *given: Any, **options: Any) -> Any:
        client = Client(raise_request_exception=False)
        return getattr(client, method)(path, *given, headers={"Authorization": f"Token {self.token}"}, **options)

    def follow(self, path: str, /, **parameters: Any) -> Any:
        """The pages of a list, one after the other."""
        page = self.get(path, **parameters)
        yield page
        while page["next"]:
            response = self.response("get", page["next"].removeprefix("http://testserver"))
            assert response.status_code == 200, response.content
            page = response.json()
            yield page


def an_account(actor: Actor) -> Account:
    """Of a person of the record, whose role is theirs there."""
    account = Account(username=f"{actor.role}-{next(_numbers)}", person_id=actor.person)
    account.set_unusable_password()
    account.save()
    return account


def by_token(actor: Actor, **options: Any) -> Asker:
    username = an_account(actor).username
    return Asker(create_token(username=username, label="test", actor=SYSTEM, at=NOW, **options).raw)


ROLES = [role for role in Role if role != Role.SYSTEM]
