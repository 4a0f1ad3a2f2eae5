"""`manage.py compliance` prints the sentence, the table and the lists, or a clear error."""

import datetime as dt
import io

import pytest
from django.core.management import CommandError, call_command

from pmcore import clock
from pmcore.queries.head import head
from tests.story import a_story, day

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _now(monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: dt.datetime(2026, 10, 31, 12, tzinfo=dt.UTC))


def told(*arguments: str) -> str:
    out = io.StringIO()
    call_command("compliance", *arguments, stdout=out)
    return out.getvalue()


def test_the_sentence_the_table_and_the_shares():
    story = a_story()
    story.inspect(day(7, 16), recorded=day(8, 10))
    said = told("--period", "2026-07", "--by", "site")
    assert said.startswith(
        "Of 1 inspection whose window closed in July 2026, 0 were met (0.0 %); 1 done late.\n"
        f"As of 2026-10-31, as known when the record had {head().size} entries.\n"
    )
    assert "Alderwick General" in said
    assert "Devices with a plan, or signed to need none: 1 of 1 (100.0 %)." in said
    assert "Overdue on 2026-10-31, of the devices under a plan: 0 of 1 (0.0 %)." in said
    assert "Entered late: 1\n  Orvane Marl, serial OM-1, due 2026-06-15: done 2026-07-16, entered 2026-08-10\n" in said


def test_a_period_in_days_and_an_empty_one():
    a_story()
    said = told("--from", "2026-08-02", "--to", "2026-08-20")
    assert said.startswith("No inspection fell due whose window closed from 2026-08-02 to 2026-08-20.")


def test_what_changed_since():
    story = a_story()
    size = head().size
    entered = story.inspect(day(7, 10))
    said = told("--period", "2026-07", "--since", str(size))
    assert "What changed since then: 1" in said
    assert f"was no reason, is met; entry {entered.seq} of 2026-07-10 (inspection recorded)" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "Say which period"),
        (["--period", "2026-07", "--from", "2026-07-01"], "Say which period"),
        (["--from", "2026-07-01"], "Say which period"),
        (["--period", "2026-13"], "is no month"),
        (["--period", "0000-01"], "is no month"),
        (["--period", "July"], "is no month"),
        (["--from", "2026-07-31", "--to", "2026-07-01"], "begins on 2026-07-31"),
        (["--period", "2026-07", "--as-of", "2026-11-01"], "lies after today"),
        (["--period", "2026-07", "--known", "100000"], "The history has"),
        (["--period", "2026-07", "--known", "-1"], "The history has"),
        (["--period", "2026-07", "--site", "XX"], "no site labelled XX"),
        (["--period", "2026-07", "--by", "weather"], "invalid"),
    ],
)
def test_a_clear_error(arguments, says):
    a_story()
    with pytest.raises(CommandError, match=says):
        told(*arguments)
