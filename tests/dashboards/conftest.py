import pytest

from dashboards.remembered import forget


@pytest.fixture(autouse=True)
def nothing_remembered():
    """The ids of a test's record begin anew, so its answers must too."""
    forget()
