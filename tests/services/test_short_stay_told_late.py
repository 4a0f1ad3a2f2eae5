"""That a device is here for a short stay calls off what is yet to open, and no window that had opened when it was
said, whatever day it was said for."""

import datetime as dt

import pytest

from pmcore.engines.vocabulary import OwnershipKind
from pmcore.services.loans import set_ownership
from tests.story import LAST_DONE, a_story, day, numbers

pytestmark = pytest.mark.django_db


def test_a_miss_stays_due_when_the_device_is_said_to_have_been_a_loan() -> None:
    story = a_story(swept=[LAST_DONE + dt.timedelta(days=1), day(5, 1), day(8, 1)])
    assert numbers(story.report(as_of=day(8, 31))) == (1, 0)
    set_ownership(
        device=story.device, kind=OwnershipKind.ON_LOAN, from_on=day(7, 1, 2025), until_on=day(12, 1, 2025),
        **story.by(day(8, 2)),
    )  # fmt: skip
    story.sweep(day(8, 3))
    report = story.report(as_of=day(8, 31))
    assert numbers(report) == (1, 0)
    assert report.lists.withdrawn == ()
    assert story.next_due_after(day(8, 31)) is None
