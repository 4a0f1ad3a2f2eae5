"""A correction leaves a device standing somewhere, on a day that has come: otherwise it would be due nowhere, and
missing from the inventory by name."""

import datetime as dt

import pytest

from pmcore.models import Placement
from pmcore.services.corrections import StandsNowhere, correct_placement, take_back
from pmcore.services.device_days import InTheFuture, NotYetInRecord
from tests.cast import AT, Hospital, check_refused

pytestmark = pytest.mark.django_db


def test_the_only_placement_is_not_taken_back(hospital: Hospital) -> None:
    with check_refused(StandsNowhere):
        take_back(wrong=hospital.placement, reason="Misread.", actor=hospital.odile, at=AT)
    assert Placement.objects.current().filter(device=hospital.device).exists()


@pytest.mark.parametrize(
    ("from_on", "error"), [(dt.date(2026, 11, 2), InTheFuture), (dt.date(2025, 12, 31), NotYetInRecord)]
)
def test_a_placement_is_corrected_to_a_day_of_the_devices_history(
    hospital: Hospital, from_on: dt.date, error: type[Exception]
) -> None:
    with check_refused(error):
        correct_placement(
            wrong=hospital.placement, area=hospital.ward, from_on=from_on, reason="Misread.", actor=hospital.odile,
            at=AT,
        )  # fmt: skip
