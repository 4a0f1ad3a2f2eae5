"""What PostgreSQL plans by is counted where much was written; elsewhere nothing is asked."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.models import Entry
from pmcore.services.statistics import count_anew
from tests.history import small_history

pytestmark = pytest.mark.django_db


@pytest.mark.skipif(connection.vendor != "postgresql", reason="only PostgreSQL counts")
def test_it_knows_how_many_rows_there_are_also_within_a_transaction():
    small_history()
    count_anew()
    with connection.cursor() as cursor:
        cursor.execute("SELECT reltuples FROM pg_class WHERE oid = 'pmcore_entry'::regclass")
        assert cursor.fetchone() == (Entry.objects.count(),)


@pytest.mark.skipif(connection.vendor == "postgresql", reason="PostgreSQL counts")
def test_another_database_is_asked_nothing():
    with CaptureQueriesContext(connection) as captured:
        count_anew()
    assert len(captured) == 0
