"""What a service checks still holds when it writes, however many call it at once."""

from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.models import PersonDetails, TagHeld
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.devices import set_tag
from pmcore.services.redaction import redact_text
from pmcore.services.requests import Request
from pmcore.services.sites import open_site
from tests.cast import AT, JANUARY, a_device, a_hospital
from tests.deeds import DEEDS, do
from tests.history import MARCH
from tests.services.test_append_concurrently import at_once

pytestmark = pytest.mark.django_db(transaction=True)

HANDS = 6


@pytest.fixture(autouse=True)
def files_of_the_test(settings, tmp_path: Path) -> None:
    settings.DATA = tmp_path


def outcomes(results: list[Any]) -> Counter[str]:
    return Counter(type(result).__name__ for result in results)


def test_of_six_devices_that_are_given_one_tag_one_gets_it() -> None:
    hospital = a_hospital()
    devices = [a_device(hospital.odile, hospital.model, f"OM-1{n}", hospital.theatre) for n in range(HANDS)]
    results = at_once(
        HANDS, lambda n: set_tag(device=devices[n], tag="T-9", from_on=MARCH, actor=hospital.odile, at=AT)
    )
    assert outcomes(results) == {"Receipt": 1, "TagTaken": HANDS - 1}
    assert TagHeld.objects.current().filter(tag="T-9").count() == 1


def test_of_six_sites_with_one_label_one_is_opened() -> None:
    asked: dict[str, Any] = {"name": "Fallow Lane", "time_zone": "Europe/London", "from_on": JANUARY}
    results = at_once(HANDS, lambda _: open_site(label="FL", actor=SYSTEM, at=AT, **asked))
    assert outcomes(results) == {"Receipt": 1, "LabelTaken": HANDS - 1}


def test_of_six_redactions_of_one_text_one_is_written() -> None:
    digest = PersonDetails.objects.get(person=a_hospital().ruan.person).name_id
    results = at_once(HANDS, lambda _: redact_text(digest=digest, reason="Asked for.", actor=SYSTEM, at=AT))
    assert outcomes(results) == {"Receipt": 1, "AlreadyRedacted": HANDS - 1}
    assert verify().sound


@pytest.mark.parametrize("deed", DEEDS)
def test_of_six_sendings_of_one_request_one_is_written(deed: str) -> None:
    hospital, request = a_hospital(), Request.of("tablet-7-0001", {"deed": deed})
    size = head().size
    results = at_once(HANDS, lambda _: do(deed, hospital, SYSTEM, 0, request=request))
    assert sorted(getattr(result, "repeated", result) for result in results) == [False] + [True] * (HANDS - 1)
    assert head().size == size + 1
