"""What most files here begin with."""

import pytest

from tests.cast import Hospital, a_hospital


@pytest.fixture
def hospital() -> Hospital:
    return a_hospital()
