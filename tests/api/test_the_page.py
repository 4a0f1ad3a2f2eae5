"""The page for auditors tells the truth: each of its lines is answered, and it names every address that it may."""

import re
from pathlib import Path

import pytest
from django.http import QueryDict

from pmcore.engines.vocabulary import Role
from pmcore.queries.head import head
from tests.api.asking import NOW, by_token
from tests.api.test_routes import versioned
from tests.cast import a_hospital, a_person

PAGE = (Path(__file__).parents[2] / "docs" / "api.md").read_text()
LINES = re.findall(r'^curl -sS -H "\$AUTH" "\$API/(.+)"$', PAGE, re.MULTILINE)


def documented() -> set[str]:
    """The addresses of the page's table."""
    rows = re.findall(r"^\| (`[a-z].*?) \|", PAGE, re.MULTILINE)
    return {name for row in rows for name in re.findall("`(.+?)`", row)}


@pytest.mark.django_db
def test_every_line_is_answered_to_an_auditor():
    hospital = a_hospital()
    asker = by_token(a_person("Ines Kaldervik", Role.AUDITOR, hospital.alderwick, hospital.stennet))
    stands_for = {"$AS_OF": str(NOW.date()), "$KNOWN": str(head().size), "$DEVICE": str(hospital.device)}
    assert len(LINES) == 8
    for line in LINES:
        said = re.sub(r"\$[A-Z_]+", lambda name: stands_for[name[0]], line)
        address, _, question = said.partition("?")
        assert asker.get(address, **QueryDict(question).dict()), line


def test_every_address_of_the_table_is_there():
    routes = {route.replace("<key:", "{").replace(">", "}") for route in versioned()}
    assert documented() <= routes
    assert {route for route in routes if route.startswith("compliance")} <= documented()
