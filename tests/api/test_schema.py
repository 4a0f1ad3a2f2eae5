"""The OpenAPI document is valid, and describes every route that there is."""

import pytest
from django.test import Client
from openapi_spec_validator import validate

from tests.api.test_routes import TABLE

pytestmark = pytest.mark.django_db


def document() -> dict:
    return Client().get("/api/v1/schema/").json()


def test_it_is_valid():
    found = document()
    validate(found)
    assert found["openapi"].startswith("3.")


def test_it_describes_every_route_in_a_sentence():
    described = {path.removeprefix("/api/v1/"): told for path, told in document()["paths"].items()}
    routes = {route.replace("<key:", "{").replace(">", "}") for route in TABLE}
    assert routes <= described.keys()
    for route in routes:
        for operation in described[route].values():
            assert operation["description"].endswith(".")
            assert {"400", "401", "403", "404"} <= operation["responses"].keys()


def test_it_says_how_to_sign_in():
    assert {"token", "session"} <= document()["components"]["securitySchemes"].keys()
