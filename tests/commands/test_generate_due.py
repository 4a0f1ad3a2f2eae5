"""The command does what the hourly sweep does, and can rehearse it."""

import datetime as dt
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from pmcore import tasks
from pmcore.engines.records import SYSTEM
from pmcore.models import DueInspection, SiteSweep
from pmcore.services import generate_due as service
from pmcore.services.sites import open_site
from tests.cast import AT, JANUARY, Hospital, a_hospital
from tests.services.test_generate_due import a_plan, a_procedure

pytestmark = pytest.mark.django_db


@pytest.fixture
def hospital() -> Hospital:
    made = a_hospital()
    a_plan(made, a_procedure())
    return made


def said(*arguments: str) -> str:
    out = StringIO()
    call_command("generate_due", *arguments, stdout=out)
    return out.getvalue()


def test_a_rehearsal_says_what_would_be_added_and_why(hospital: Hospital) -> None:
    told = said("--as-of", "2026-06-01", "--site", "AG", "--dry-run")
    assert "Tables, yearly" in told
    assert "due 2026-06-15 (2026-05-16 to 2026-07-15)" in told
    assert "2 due inspections would be added" in told
    assert not DueInspection.objects.exists()


def test_it_writes_and_says_how_many(hospital: Hospital) -> None:
    assert "Alderwick General, 2026-06-01: 2 due inspections added, 0 withdrawn." in said("--as-of", "2026-06-01")
    assert DueInspection.objects.count() == 2
    assert SiteSweep.objects.count() == 2


@pytest.mark.parametrize(
    ("arguments", "says"),
    [(("--site", "XX"), "no site labelled XX"), (("--as-of", "tomorrow"), "'tomorrow' is no date")],
)
def test_a_mistake_is_named(hospital: Hospital, arguments: tuple[str, ...], says: str) -> None:
    with pytest.raises(CommandError, match=says):
        said(*arguments)


def test_one_sites_failure_stops_no_other(hospital: Hospital, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails_at_the_first(*, site: int, as_of: dt.date, at: dt.datetime) -> object:
        if site == hospital.alderwick:
            raise RuntimeError("the disk is full")
        return service.generate_due(site=site, as_of=as_of, at=at)

    monkeypatch.setattr(tasks, "generate_due", fails_at_the_first)
    tasks.sweep_due()
    assert [sweep.site_id for sweep in SiteSweep.objects.all()] == [hospital.stennet]


def test_the_sweep_uses_each_sites_own_day(hospital: Hospital, monkeypatch: pytest.MonkeyPatch) -> None:
    far = open_site(
        label="FL", name="Fallow Lane", time_zone="Pacific/Auckland", from_on=JANUARY, actor=SYSTEM, at=AT
    ).subject
    evening = dt.datetime(2026, 10, 31, 20, 0, tzinfo=dt.UTC)
    monkeypatch.setattr(tasks.clock, "now", lambda: evening)
    tasks.sweep_due()
    days = dict(SiteSweep.objects.values_list("site_id", "swept_on"))
    assert (days[hospital.alderwick], days[far]) == (dt.date(2026, 10, 31), dt.date(2026, 11, 1))
