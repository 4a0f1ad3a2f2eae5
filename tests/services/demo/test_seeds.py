"""The same seed draws the same, another seed something else."""

from typing import Any

import pytest

from tests.services.demo.building import A_FEW, built
from tests.services.demo.test_scenes_independent import inspected

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def first(django_db_setup: None, django_db_blocker: Any) -> set[tuple[Any, ...]]:
    with built(django_db_blocker, seed=3, devices=A_FEW):
        return inspected()


@pytest.mark.parametrize(("seed", "same"), [(3, True), (4, False)])
def test_what_is_read_follows_from_the_seed(seed, same, first, django_db_blocker):
    with built(django_db_blocker, seed=seed, devices=A_FEW):
        assert (inspected() == first) is same
