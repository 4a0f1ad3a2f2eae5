"""Questions that the worked examples leave open, each in the smallest world that asks it."""

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from pmcore.engines.due_dates import Window
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AreaKind, Basis, InspectionKind, PlanBasis, Unit
from pmcore.models import DueInspection, Withdrawal
from pmcore.models.rows import Row
from pmcore.queries.compliance import ComplianceReport
from pmcore.services.devices import move_device
from pmcore.services.plans import change_plan
from pmcore.services.sites import open_area, open_site
from pmcore.services.storage import store_device
from tests.history import written
from tests.story import Story, a_story, day, moment, numbers

pytestmark = pytest.mark.django_db

EVER = (dt.date(2025, 1, 1), dt.date(2027, 12, 31))


def counts(report: ComplianceReport) -> dict[str, int]:
    words = ("met", "met_late", "reason_recorded", "no_reason", "suspended", "withdrawn")
    return {word: getattr(report.tally, word) for word in words if getattr(report.tally, word)}


@pytest.mark.parametrize(("own", "expected"), [(True, {"met_late": 1}), (False, {"no_reason": 1})])
def test_an_incoming_inspection_leaves_a_closed_window_due(own, expected):
    story = a_story()
    other = story.add_procedure("Arrival")[1]
    assert counts(story.report(as_of=day(7, 31))) == {"no_reason": 1}
    story.inspect(day(8, 3), kind=InspectionKind.INCOMING, version=story.version if own else other)
    story.sweep(day(8, 4))
    assert counts(story.report(as_of=day(8, 31))) == expected


def test_an_incoming_inspection_leaves_chronic_misses_of_a_floating_plan():
    story = a_story(Basis.FLOATING, last_done=None, with_device=False, swept=())
    story.device = story.add_device("OM-4", found_in_use=True)
    story.sweep(day(1, 3, 2025), day(7, 20))
    assert counts(story.report(*EVER, as_of=day(7, 31))) == {"no_reason": 2}
    story.inspect(day(8, 3), kind=InspectionKind.INCOMING)
    story.sweep(day(8, 4))
    # The next, counted from the beginning, gives way to one that is counted from the inspection.
    assert counts(story.report(*EVER, as_of=day(8, 31))) == {"met_late": 1, "no_reason": 1, "withdrawn": 1}


def test_an_inspection_never_meets_the_one_that_is_counted_from_it():
    story = a_story(Basis.FLOATING, last_done=day(8, 1, 2025), swept=(day(8, 2, 2025), day(7, 1)))
    assert story.due(day(8, 1)).opens_on == day(7, 2)
    assert counts(story.report(*EVER, as_of=day(9, 30))) == {"no_reason": 1}


@pytest.mark.parametrize(("by_new", "expected"), [(True, (1, 1)), (False, (1, 0))])
def test_after_a_change_of_procedure_the_new_one_is_wanted(by_new, expected):
    story = a_story()
    version = _change_procedure(story)
    story.inspect(day(6, 10), version=version if by_new else story.version)
    assert numbers(story.report()) == expected


def _change_procedure(story: Story) -> int:
    procedure, version = story.add_procedure("Yearly check, new")
    change_plan(
        plan=story.plan, from_on=day(5, 2), name="Tables, yearly", device_model=story.model, procedure=procedure,
        every=12, unit=Unit.MONTH, counts_from=Basis.ANCHORED, anchor_on=day(6, 15, 2025), window=Window.days(30, 30),
        basis=PlanBasis.MAKER, approved_by=story.person, **story.by(day(5, 2), 8),
    )  # fmt: skip
    story.sweep(day(5, 2), day(5, 10))
    return version


def test_before_it_was_withdrawn_it_was_met():
    story = a_story()
    story.inspect(day(6, 10))
    row = Row(Withdrawal, due_inspection=story.due().pk, from_on=day(8, 10), withdrawn=True, reason="recorded_wrongly")
    written("due_withdrawn", story.device, row)
    assert counts(story.report(as_of=day(8, 10))) == {"withdrawn": 1}
    assert counts(story.report(as_of=day(7, 31))) == {"met": 1}


def test_what_stays_sealed_is_counted_apart_even_when_it_is_done():
    story = a_story()
    store_device(device=story.device, from_on=day(5, 1), sealed=True, in_hand=True, **story.by(day(5, 1)))
    assert counts(story.report()) == {"suspended": 1}
    story.inspect(day(6, 10))
    assert counts(story.report()) == {"suspended": 1}


def test_attempts_are_recorded_by_the_calendar_of_the_site_on_the_due_date():
    story = a_story()
    by: dict[str, Any] = {"from_on": story.begins_on, "actor": SYSTEM, "at": moment(story.begins_on)}
    far = open_site(label="FE", name="Far End", time_zone="Pacific/Auckland", **by).subject
    ward = open_area(site=far, name="Ward 1", kind=AreaKind.WARD, **by).subject
    story.manager = replace(story.manager, sites=frozenset({*story.sites, far}))
    move_device(device=story.device, area=ward, from_on=day(7, 1), **story.by(day(7, 1)))
    # Friday evening by the clock of the first site, its second working day after the close; at the other, Saturday.
    story.search(day(7, 6), recorded=day(7, 17))
    story.search(day(7, 10), recorded=day(7, 17))
    assert counts(story.report(as_of=day(7, 31))) == {"reason_recorded": 1}


def test_of_overlapping_windows_the_open_one_is_met():
    story = a_story()
    said = {"device": story.device, "plan": story.plan, "procedure": story.procedure}
    short = {"opens_on": day(6, 1), "due_on": day(6, 5), "closes_on": day(6, 5)}
    written("inspections_due", story.device, Row(DueInspection, **said, **short))
    story.inspect(day(6, 10))
    assert counts(story.report(day(6, 1), day(7, 31))) == {"met": 1, "no_reason": 1}
