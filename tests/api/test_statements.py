"""Every list takes a fixed number of statements, however many devices there are and however long its page is."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Grouping, Role
from pmcore.models import Site
from pmcore.queries.compliance import ComplianceFilter, compliance
from pmcore.queries.head import head
from pmcore.services.catalogue import register_revision
from pmcore.services.devices import register_device
from pmcore.services.keep_standings import keep_standings
from tests.api.asking import NOW, by_token
from tests.cast import AT, JANUARY, a_hospital, a_person, a_plan, a_procedure

pytestmark = pytest.mark.django_db

# Four to know who asks, two for today, three for the day and the size; then those of the query.
BEFORE = 9
STATEMENTS = {
    "sites/": BEFORE + 1,
    "areas/": BEFORE + 1,
    "device-classes/": BEFORE + 7,
    "device-models/": BEFORE + 2,
    "devices/": BEFORE + 16,
    "procedures/": BEFORE + 2,
    "inspection-plans/": BEFORE + 1,
}


def statements(asker, path, **parameters):
    with CaptureQueriesContext(connection) as captured:
        asker.get(path, **parameters)
    return len(captured)


@pytest.fixture(params=[3, 300])
def auditor(request):
    hospital = a_hospital()
    a_plan(hospital.odile, a_procedure(hospital.odile), device_class=hospital.table)
    revision = register_revision(
        device_model=hospital.model, label="B", from_on=JANUARY, actor=hospital.odile, at=AT
    ).subject
    for number in range(request.param - 1):
        register_device(
            device_model=hospital.model, serial=f"N-{number}", tag=f"N-{number}", area=hospital.theatre,
            from_on=JANUARY, revision=revision, actor=hospital.wim, at=AT,
        )  # fmt: skip
    return by_token(a_person("Ines Kaldervik", Role.AUDITOR, hospital.alderwick, hospital.stennet))


def test_lists_take_a_fixed_number_of_statements(auditor):
    found = {path: statements(auditor, path, limit=500) for path in STATEMENTS}
    assert found == STATEMENTS


def test_the_next_page_takes_no_more(auditor):
    first = auditor.get("devices/", limit=1)
    with CaptureQueriesContext(connection) as captured:
        auditor.response("get", first["next"].removeprefix("http://testserver"))
    assert len(captured) <= STATEMENTS["devices/"]


def test_the_figure_takes_no_more_than_its_query(auditor):
    keep_standings()
    asked = ComplianceFilter(dt.date(2026, 9, 1), dt.date(2026, 9, 30))
    with CaptureQueriesContext(connection) as captured:
        sites = frozenset(Site.objects.values_list("id", flat=True))
        compliance(
            asked,
            as_of=NOW.date(),
            known=head().size,
            today=NOW.date(),
            actor=Actor(None, Role.AUDITOR, sites),
            group_by=Grouping.SITE,
        )
    to_ask_it = 2  # the sites and the size
    assert statements(auditor, "compliance/", period="2026-09", group_by="site") == BEFORE + len(captured) - to_ask_it


def test_failure_rates_take_a_fixed_number_too(auditor):
    """Ten for the facts, six for names, two for day and size once more."""
    asked = {"failure-rates/": {}, "standouts/": {}, "comparisons/": {"group": "controls"}}
    found = {path: statements(auditor, path, **parameters) for path, parameters in asked.items()}
    assert found == dict.fromkeys(asked, BEFORE + 18)
