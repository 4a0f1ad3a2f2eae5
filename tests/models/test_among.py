"""Many ids are handed over as one value."""

import pytest

from pmcore.models import Placement
from tests.cast import a_hospital

pytestmark = pytest.mark.django_db


def test_more_ids_than_a_statement_takes_parameters() -> None:
    hospital = a_hospital()
    found = Placement.objects.current().filter(device__among=range(1, 300_000))
    assert list(found.values_list("device_id", flat=True)) == [hospital.device]


def test_none_of_no_ids() -> None:
    a_hospital()
    assert not Placement.objects.current().filter(device__among=[]).exists()


def test_across_a_reference() -> None:
    hospital = a_hospital()
    found = Placement.objects.current().filter(area__site__among={hospital.alderwick})
    assert list(found.values_list("device_id", flat=True)) == [hospital.device]
