"""A list that is read page by page is the list as it was at its first page, whatever is written meanwhile."""

import pytest
import time_machine

from pmcore.engines.vocabulary import Role
from tests.api.callers import Caller, a_token
from tests.cast import AT, a_device, a_hospital

pytestmark = pytest.mark.django_db


@pytest.fixture
def hospital():
    with time_machine.travel(AT, tick=False):
        yield a_hospital()


@pytest.fixture
def auditor(hospital) -> Caller:
    for number in range(6):
        a_device(hospital.odile, hospital.model, f"P-{number}", hospital.theatre)
    return Caller(a_token(Role.AUDITOR, "AG"))


def serials(rows) -> list[str]:
    return [row["serial"] for row in rows]


def test_pages_hold_everything_once(auditor):
    assert serials(auditor.every_page("devices/", {"limit": 3})) == ["OM-1", *(f"P-{number}" for number in range(6))]


def test_what_is_written_between_two_pages_moves_nothing(auditor, hospital):
    first = auditor.get("devices/", {"limit": 3}).json()
    a_device(hospital.odile, hospital.model, "Q-1", hospital.theatre)
    found = serials(first["results"])
    following = first["next"]
    while following:
        page = auditor.client.get(following, headers={"Authorization": f"Token {auditor.token}"}).json()
        assert (page["known"], page["as_of"]) == (first["known"], first["as_of"])
        found += serials(page["results"])
        following = page["next"]
    assert found == ["OM-1", *(f"P-{number}" for number in range(6))]


def test_a_cursor_is_good_for_its_own_question_alone(auditor):
    following = auditor.get("devices/", {"limit": 3}).json()["next"]
    cursor = following.rpartition("cursor=")[2]
    answer = auditor.client.get(
        f"/api/v1/devices/?words=P&cursor={cursor}", headers={"Authorization": f"Token {auditor.token}"}
    )
    assert (answer.status_code, list(answer.json()["errors"])) == (400, ["cursor"])


def test_the_last_page_has_no_next(auditor):
    assert auditor.get("devices/", {"limit": 7}).json()["next"] is None
