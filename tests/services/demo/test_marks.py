"""A demonstration is built into an empty record, once; what was broken off does not pass for it."""

import pytest

from pmcore.queries.head import head
from pmcore.services.demo import build
from pmcore.services.demo.build import build_demo
from pmcore.services.demo.marks import AnotherDemonstration, BuildInterrupted, RecordInUse
from tests.cast import a_hospital, check_refused

pytestmark = pytest.mark.django_db

FEW = 60


def test_a_record_that_holds_something_else_is_left_as_it_is() -> None:
    a_hospital()
    with check_refused(RecordInUse, "nothing of it was touched"):
        build_demo(devices=FEW)


def test_built_again_it_is_there_already() -> None:
    first = build_demo(devices=FEW)
    size = head().size
    again = build_demo(devices=FEW)
    assert (first.entries, again.entries, head().size) == (size, 0, size)


def test_another_seed_or_size_is_another_demonstration() -> None:
    build_demo(devices=FEW, seed=1)
    with check_refused(AnotherDemonstration, "of seed 1, 60 devices, not of seed 2, 60 devices"):
        build_demo(devices=FEW, seed=2)
    with check_refused(AnotherDemonstration, "not of seed 1, 61 devices"):
        build_demo(devices=FEW + 1, seed=1)


class Killed(Exception):
    """The machine lost its power."""


@pytest.mark.parametrize("when", ["Sites, people and sheets", "Devices", "Months"])
def test_an_interrupted_build_does_not_pass_for_a_finished_one(when: str) -> None:
    def progress(phase: str, done: int, of: int) -> None:
        if phase == when and (phase != "Months" or done == of):
            raise Killed

    with pytest.raises(Killed):
        build_demo(devices=FEW, progress=progress)
    with check_refused(BuildInterrupted, "not finished.*Delete the data folder"):
        build_demo(devices=FEW)


def test_of_two_builds_at_once_the_second_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both look before either has begun."""
    build_demo(devices=FEW)
    monkeypatch.setattr(build, "is_built", lambda wanted: False)
    with check_refused(RecordInUse, "already"):
        build_demo(devices=FEW)
