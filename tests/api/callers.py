"""Whoever calls the interface: an account and a token for each role, members of the first site of the hospital."""

from dataclasses import dataclass, field
from typing import Any

from django.test import Client

from pmcore.engines.vocabulary import Role
from pmcore.services.accounts import create_account, create_token
from tests.cast import AT, JANUARY

PASSWORD = "kestrel-lathe-amber"
ROLES = tuple(role for role in Role if role is not Role.SYSTEM)


def an_account(role: Role, *labels: str) -> str:
    """Its user name."""
    username = f"a-{role}"
    create_account(
        username=username, password=PASSWORD, name=f"The {role}", role=role, site_labels=labels, at=AT, on=JANUARY
    )
    return username


def a_token(role: Role, *labels: str) -> str:
    return create_token(username=an_account(role, *labels), label="tests", at=AT)


@dataclass
class Caller:
    """Calls with a token; answers are read as JSON."""

    token: str
    client: Client = field(default_factory=Client)

    def get(self, path: str, query: Any = "", **headers: str) -> Any:
        return self.client.get(f"/api/v1/{path}", query, headers={"Authorization": f"Token {self.token}", **headers})

    def every_page(self, path: str, query: dict[str, Any]) -> list[Any]:
        """The results of all pages, one after another."""
        answer = self.get(path, query).json()
        results = list(answer["results"])
        while answer["next"]:
            answer = self.client.get(answer["next"], headers={"Authorization": f"Token {self.token}"}).json()
            results += answer["results"]
        return results
