import pytest

from dashboards import kept_pages, remembered


@pytest.fixture(autouse=True)
def nothing_remembered():
    """The ids of a test's record begin anew, so its answers must too."""
    remembered.forget()
    kept_pages.forget()
