"""Whether the process answers: without signing in, and without asking the database, which these tests do not open."""

from django.test import Client


def test_it_says_ok_to_anybody_and_asks_nothing() -> None:
    answer = Client().get("/healthz")
    assert (answer.status_code, answer.content) == (200, b"ok\n")
    assert not answer.cookies
