import pytest
from django.test import Client

from dashboards import kept_pages, remembered
from tests.cast import AT, Hospital, a_hospital
from tests.dashboards.signed_in import set_clock, signed_in


@pytest.fixture(autouse=True)
def nothing_remembered():
    """The ids of a test's record begin anew, so its answers must too."""
    remembered.forget()
    kept_pages.forget()


@pytest.fixture
def hospital(monkeypatch: pytest.MonkeyPatch) -> Hospital:
    """On the day of its facts."""
    set_clock(monkeypatch, AT)
    return a_hospital()


@pytest.fixture
def wim(hospital: Hospital) -> Client:
    """Its administrator."""
    return signed_in(hospital.wim)
