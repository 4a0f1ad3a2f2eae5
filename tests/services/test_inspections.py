"""Inspections: who records what was done, on which day it counts, and what is refused."""

import datetime as dt

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import InspectionKind, Role
from pmcore.models import Inspection, InspectionSession, Placement, Reading, VersionApproval
from pmcore.models.rows import Row
from pmcore.queries.head import head
from pmcore.queries.inspections import completed
from pmcore.queries.verification import verify
from pmcore.services.device_days import InTheFuture, MomentsOutOfOrder, NotYetInRecord, PlacedElsewhere, PlaceUnknown
from pmcore.services.devices import register_device
from pmcore.services.inspections import (
    AlreadyComplete,
    AlreadyRecorded,
    AnotherInspection,
    VersionNotApproved,
    record_inspection,
)
from pmcore.services.refusals import NotAllowed, RequestReused, UnknownReference, WrongSite
from pmcore.services.requests import Request
from tests.bench_cast import (
    BRAKES,
    CLOSES,
    LABELS,
    RAISING,
    Bench,
    a_bench,
    a_device_in,
    a_repair,
    a_version,
    assert_refused,
    inspection_of,
    moment,
    recorded,
    session_of,
    work,
)
from tests.cast import AT, a_device, a_person
from tests.history import day, written

pytestmark = pytest.mark.django_db

JUNE_15 = moment(6, 15)


@pytest.fixture
def bench() -> Bench:
    return a_bench()


def performed_days(device: int) -> list[dt.date]:
    return [done.performed_on for done in completed([device], head().size)]


def test_an_inspection_its_session_and_its_readings_are_one_entry(bench: Bench) -> None:
    size = head().size
    receipt = recorded(bench, JUNE_15, actor=bench.ruan, decontaminated=True, note="All in order.")
    assert (receipt.seq, receipt.subject) == (size + 1, bench.device)
    session = InspectionSession.objects.current().get(entry=receipt.seq)
    assert Inspection.objects.get(entry=receipt.seq).device_id == bench.device
    assert (session.site_id, session.performed_on) == (bench.alderwick, day("2026-06-15"))
    assert (session.person_id, session.version_id, session.decontaminated) == (bench.ruan.person, bench.version, True)
    lines = Reading.objects.current().filter(session=session).order_by("id")
    assert list(lines.values_list("step", "energy_source", "as_found", "unit", "instrument_id")) == [
        ("brakes", None, None, None, None),
        ("raising", "mains", None, None, None),
        ("leakage", None, "85", "µA", bench.meter),
    ]
    assert verify().sound


def test_ten_to_midnight_on_the_last_day_is_in_the_window(bench: Bench) -> None:
    """Done on the day of the close at 23:50, five hours behind UTC, where it is the next day."""
    device = a_device_in("America/Chicago", bench)
    late = dt.datetime(2026, 7, 16, 4, 50, tzinfo=dt.UTC)
    recorded(bench, late, device=device, actor=SYSTEM)
    assert performed_days(device) == [CLOSES]


def test_work_over_two_days_is_performed_on_the_day_of_its_last_mandatory_step(bench: Bench) -> None:
    """First steps 07-10, the last mandatory one 07-18: after the close."""
    first = recorded(bench, moment(7, 10), BRAKES)
    assert performed_days(bench.device) == []
    recorded(bench, moment(7, 18), RAISING, bench.leakage(), inspection=inspection_of(first))
    assert performed_days(bench.device) == [day("2026-07-18")]
    assert Inspection.objects.filter(device=bench.device).count() == 1


def test_the_day_follows_the_device_to_the_site_where_it_stands(bench: Bench) -> None:
    device = a_device(bench.odile, bench.model, "OM-2", bench.theatre)
    written("device_placed", device, Row(Placement, device=device, area=bench.ward, from_on=day("2026-06-01")))
    receipt = recorded(bench, JUNE_15, device=device)
    assert session_of(receipt).site_id == bench.stennet


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.CLINICAL_LEAD, Role.PROVIDER])
def test_who_only_looks_and_who_comes_from_outside_records_nothing(bench: Bench, role: Role) -> None:
    onlooker = a_person("Wim Ostrava-Keel", role, bench.alderwick, bench.stennet)
    assert_refused(NotAllowed, lambda: recorded(bench, JUNE_15, actor=onlooker))


@pytest.mark.parametrize("role", [Role.TECHNICIAN, Role.SCHEDULER, Role.MANAGER])
def test_who_works_with_devices_records_at_their_own_site(bench: Bench, role: Role) -> None:
    worker = a_person("Isla Verrin", role, bench.alderwick)
    stranger = a_person("Per Aldous", role, bench.stennet)
    assert_refused(WrongSite, lambda: recorded(bench, JUNE_15, actor=stranger))
    recorded(bench, JUNE_15, actor=worker)
    assert performed_days(bench.device) == [day("2026-06-15")]


def test_a_device_that_is_not_there_is_refused(bench: Bench) -> None:
    assert_refused(UnknownReference, lambda: recorded(bench, JUNE_15, device=999_999), "device")
    last_year = JUNE_15.replace(year=2025)
    assert_refused(PlaceUnknown, lambda: recorded(bench, last_year))
    assert_refused(PlaceUnknown, lambda: recorded(bench, last_year, site=bench.alderwick))


def test_before_the_history_of_the_device_begins_nothing_was_done_on_it(bench: Bench) -> None:
    later = register_device(
        device_model=bench.model, serial="OM-3", tag=None, area=bench.theatre, from_on=day("2026-06-20"),
        known_from_on=day("2026-06-16"), actor=bench.odile, at=AT,
    ).subject  # fmt: skip
    assert_refused(NotYetInRecord, lambda: recorded(bench, JUNE_15, device=later, site=bench.alderwick))
    recorded(bench, moment(6, 16), device=later, site=bench.alderwick)
    assert performed_days(later) == [day("2026-06-16")]


def test_a_stated_site_must_be_the_one_of_the_placement(bench: Bench) -> None:
    assert_refused(PlacedElsewhere, lambda: recorded(bench, JUNE_15, site=bench.stennet))
    assert session_of(recorded(bench, JUNE_15, site=bench.alderwick)).site_id == bench.alderwick


def test_what_has_not_happened_is_refused(bench: Bench) -> None:
    assert_refused(InTheFuture, lambda: recorded(bench, AT + dt.timedelta(minutes=1), started_at=AT), "performed_at")
    assert_refused(InTheFuture, lambda: recorded(bench, AT, ended_at=AT + dt.timedelta(minutes=1)), "ended_at")
    recorded(bench, AT)
    assert performed_days(bench.device) == [AT.date()]


@pytest.mark.parametrize("out_of_order", [{"started_at": moment(6, 15, 10)}, {"ended_at": moment(6, 15, 8)}])
def test_work_begins_is_performed_and_ends(bench: Bench, out_of_order: dict[str, dt.datetime]) -> None:
    assert_refused(MomentsOutOfOrder, lambda: recorded(bench, JUNE_15, **out_of_order))


def test_a_version_counts_from_its_approval_until_it_is_withdrawn(bench: Bench) -> None:
    draft = a_version(bench.procedure, 2, bench, approved_from=None)
    assert_refused(VersionNotApproved, lambda: recorded(bench, JUNE_15, version=draft))
    assert_refused(UnknownReference, lambda: recorded(bench, JUNE_15, version=999_999), "procedure_version")
    coming = a_version(bench.procedure, 3, bench, approved_from=day("2026-06-16"))
    assert_refused(VersionNotApproved, lambda: recorded(bench, JUNE_15, version=coming))
    recorded(bench, moment(6, 16), version=coming)
    withdrawn = {"version": bench.version, "from_on": day("2026-06-10"), "approved_by": bench.odile.person}
    written("version_approved", bench.version, Row(VersionApproval, approved=False, **withdrawn))
    assert_refused(VersionNotApproved, lambda: recorded(bench, JUNE_15))


def test_nobody_can_sign_who_is_not_in_the_record(bench: Bench) -> None:
    assert_refused(UnknownReference, lambda: recorded(bench, JUNE_15, person=999_999), "person")


def test_one_inspection_is_recorded_once_a_day(bench: Bench) -> None:
    recorded(bench, JUNE_15)
    assert_refused(AlreadyRecorded, lambda: recorded(bench, moment(6, 15, 14)))
    recorded(bench, moment(6, 15, 14), kind=InspectionKind.AFTER_REPAIR)
    recorded(bench, moment(6, 16))
    assert performed_days(bench.device) == [day("2026-06-15"), day("2026-06-15"), day("2026-06-16")]


def test_an_unfinished_inspection_is_not_begun_again_on_the_same_day(bench: Bench) -> None:
    first = recorded(bench, JUNE_15, BRAKES)
    assert_refused(AlreadyRecorded, lambda: recorded(bench, moment(6, 15, 14)))
    recorded(bench, moment(6, 15, 14), RAISING, bench.leakage(), inspection=inspection_of(first))
    assert performed_days(bench.device) == [day("2026-06-15")]


def test_a_session_does_not_repeat_a_step_of_its_day_unless_a_repair_lies_between(bench: Bench) -> None:
    inspection = inspection_of(recorded(bench, JUNE_15, BRAKES))
    assert_refused(AlreadyRecorded, lambda: recorded(bench, moment(6, 15, 14), inspection=inspection), "brakes")
    a_repair(bench.device, moment(6, 15, 12), "brakes_and_mobility")
    recorded(bench, moment(6, 15, 14), inspection=inspection)
    assert performed_days(bench.device) == [day("2026-06-15")]


def test_a_session_belongs_to_an_inspection_of_its_device_procedure_and_kind(bench: Bench) -> None:
    inspection = inspection_of(recorded(bench, JUNE_15, BRAKES))
    other = a_device(bench.odile, bench.model, "OM-2", bench.theatre)
    further = {"inspection": inspection}
    assert_refused(AnotherInspection, lambda: recorded(bench, moment(6, 16), RAISING, device=other, **further))
    assert_refused(
        AnotherInspection, lambda: recorded(bench, moment(6, 16), RAISING, kind=InspectionKind.INCOMING, **further)
    )
    assert_refused(UnknownReference, lambda: recorded(bench, moment(6, 16), inspection=999_999), "inspection")


def test_a_complete_inspection_takes_no_further_session(bench: Bench) -> None:
    inspection = inspection_of(recorded(bench, JUNE_15))
    assert_refused(AlreadyComplete, lambda: recorded(bench, moment(6, 16), LABELS, inspection=inspection))


def test_a_retry_from_the_tablet_gets_the_first_receipt(bench: Bench) -> None:
    request = Request.of("tablet-1", {"device": bench.device})
    first = recorded(bench, JUNE_15, request=request)
    size = head().size
    again = recorded(bench, JUNE_15, request=request)
    assert (again.seq, again.repeated, head().size) == (first.seq, True, size)
    assert_refused(RequestReused, lambda: recorded(bench, JUNE_15, request=Request.of("tablet-1", {"device": 0})))


def test_what_is_handed_in_by_the_service_itself_is_recorded_too(bench: Bench) -> None:
    record_inspection(device=bench.device, **work(bench, JUNE_15, actor=SYSTEM))
    assert performed_days(bench.device) == [day("2026-06-15")]
