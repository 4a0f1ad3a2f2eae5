import pytest

from tests.api.asking import NOW


@pytest.fixture(autouse=True)
def _now(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is noon on the day of the tests."""
    monkeypatch.setattr("pmcore.clock.now", lambda: NOW)
