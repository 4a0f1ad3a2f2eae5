"""One entry or nothing: what the writer takes, and each thing that it refuses by name."""

import datetime as dt
import gc
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from pmcore.engines.records import SYSTEM
from pmcore.models import (
    Area,
    AreaDetails,
    Device,
    DueInspection,
    Entry,
    InspectionSession,
    MeterReading,
    Person,
    PersonDetails,
    Placement,
    Reading,
    Site,
    SiteDetails,
    TagHeld,
    Text,
)
from pmcore.models.kinds import KINDS
from pmcore.models.rows import Row
from pmcore.queries.columns import MAX_INT, MAX_TEXT, BadValue
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services.append import ROWS_AT_ONCE, Draft, append, append_in_batches, append_many
from pmcore.services.refusals import (
    AlreadyReplaced,
    AnotherSubject,
    Conflict,
    TooMuchAtOnce,
    UnknownKind,
    UnknownReference,
)
from tests.history import AT, JANUARY, MARCH, World, a_device, a_move, day, small_world, some_due, written
from tests.samples import Everything

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return small_world()


def test_an_entry_owns_the_ids_up_to_its_last(world: World) -> None:
    before = head()
    receipt = some_due(world, day("2026-06-15"), day("2027-06-15"))
    assert (receipt.first_id, receipt.last_id) == (before.last_id + 1, before.last_id + 2)
    assert receipt.seq == before.size + 1
    assert list(DueInspection.objects.values_list("id", flat=True)) == [receipt.first_id, receipt.last_id]


def test_the_author_and_the_moment_stand_on_the_entry(world: World) -> None:
    local = dt.datetime(2026, 10, 31, 9, 30, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    receipt = a_move(world, world.ward, MARCH, actor=world.technician, at=local)
    entry = Entry.objects.get(seq=receipt.seq)
    assert (entry.person, entry.role, entry.at) == (world.person, "technician", local)


def test_rows_of_an_entry_may_refer_to_one_another_in_any_order() -> None:
    site = Row(Site)
    details = Row(SiteDetails, site=site, from_on=JANUARY, label="CR", name="Cray Row", time_zone="Europe/London")
    written("site_opened", site, details, site)
    assert SiteDetails.objects.get().site_id == site.id


def test_free_text_stands_in_the_history_only_as_a_salted_hash(world: World) -> None:
    written("person_described", world.person, Row(PersonDetails, person=world.person, from_on=MARCH, name="Ines C."))
    first, second = (text for text in Text.objects.filter(words__startswith="Ines"))
    assert first.salt != second.salt
    later = Row(PersonDetails, person=world.person, from_on=day("2026-05-01"), name="Ines C.")
    again = written("person_described", world.person, later)
    same = Text.objects.filter(words="Ines C.")
    assert len({text.digest for text in same}) == 2
    assert PersonDetails.objects.get(entry=again.seq).name.words == "Ines C."


def test_a_correction_keeps_what_was_there(world: World) -> None:
    a_move(world, world.ward, MARCH)
    wrong = Placement.objects.current().get(device=world.device, from_on=MARCH)
    right = Row(Placement, device=world.device, area=world.theatre, from_on=MARCH)
    receipt = written("device_placed", world.device, right, replaces=[wrong], note="It stayed.")
    kept = Placement.objects.get(pk=wrong.pk)
    assert (kept.area_id, kept.replaced_by) == (world.ward, receipt.seq)
    assert Placement.objects.current().get(device=world.device, from_on=MARCH).area_id == world.theatre


def test_batches_split_between_entries_only(world: World) -> None:
    devices = [a_device(world.model, f"B-{number}") for number in range(5)]
    days = [JANUARY + dt.timedelta(days=number) for number in range(700)]
    drafts = [
        Draft(
            "inspections_due",
            device,
            [
                Row(DueInspection, device=device, plan=world.plan, procedure=world.procedure, due_on=due, opens_on=due,
                    closes_on=due)
                for due in days
            ],
        )
        for device in devices
    ]  # fmt: skip
    batches = list(append_in_batches(drafts, actor=SYSTEM, at=AT))
    assert [len(batch) for batch in batches] == [2, 2, 1]
    assert DueInspection.objects.count() == 3_500
    assert verify().sound


# What is refused


def _due(world: World, **changed: Any) -> Row:
    values: dict[str, Any] = {
        "device": world.device, "plan": world.plan, "procedure": world.procedure, "due_on": day("2026-06-15"),
        "opens_on": day("2026-05-16"), "closes_on": day("2026-07-15"),
    }  # fmt: skip
    return Row(DueInspection, **{**values, **changed})


def _area(world: World, **changed: Any) -> Row:
    values: dict[str, Any] = {"area": world.ward, "from_on": MARCH, "name": "W", "kind": "ward", "closed": False}
    return Row(AreaDetails, **{**values, **changed})


def _reading(**changed: Any) -> Row:
    return Row(Reading, **{"session": 1, "step": "earth", "outcome": "passed", **changed})


BAD_VALUES: dict[str, tuple[Callable[[World], tuple[str, Row]], str]] = {
    "a missing column": (lambda w: ("inspections_due", _due(w, closes_on=None)), "closes_on: it is missing"),
    "an unknown column": (lambda w: ("inspections_due", _due(w, colour="blue")), "colour: there is no such column"),
    "an id of one's own": (lambda w: ("inspections_due", _due(w, id=5)), "id: there is no such column"),
    "a moment for a day": (lambda w: ("inspections_due", _due(w, due_on=AT)), "due_on: a date is wanted"),
    "text for a day": (lambda w: ("inspections_due", _due(w, due_on="2026-06-15")), "due_on: a date is wanted"),
    "a list for a day": (lambda w: ("inspections_due", _due(w, due_on=[])), "due_on:"),
    "text for an id": (lambda w: ("inspections_due", _due(w, device="1")), "device: the id of a device is wanted"),
    "true for an id": (lambda w: ("inspections_due", _due(w, device=True)), "device: the id of a device is wanted"),
    "a number past all readers": (lambda w: ("inspections_due", _due(w, device=MAX_INT + 1)), "device:"),
    "another table's row": (lambda w: ("inspections_due", _due(w, device=Row(Site))), "device: the id of a device"),
    "a word out of the vocabulary": (
        lambda w: ("area_described", _area(w, kind="garage")),
        "kind: 'garage' is none of",
    ),
    "a name too long": (
        lambda w: ("area_described", _area(w, name="W" * 121)),
        "name: it has 121 characters, at most 120 fit",
    ),
    "an empty name": (
        lambda w: ("area_described", _area(w, name="")),
        "name: it is empty",
    ),
    "a control character": (
        lambda w: ("area_described", _area(w, name="W\n6")),
        "name: it holds a control character",
    ),
    "half a character": (
        lambda w: ("area_described", _area(w, name="W\ud800")),
        "name: it holds half a character",
    ),
    "a number for yes or no": (
        lambda w: ("area_described", _area(w, closed=0)),
        "closed: true or false is wanted",
    ),
    "a float for a quantity": (
        lambda w: ("meter_read", Row(MeterReading, device=w.device, unit="hours", from_on=MARCH, value=1.5)),
        "value: a decimal number as a string is wanted",
    ),
    "an exponent in a quantity": (
        lambda w: ("meter_read", Row(MeterReading, device=w.device, unit="hours", from_on=MARCH, value="1e3")),
        "value: a decimal number as a string is wanted",
    ),
    "no number at all": (
        lambda w: ("meter_read", Row(MeterReading, device=w.device, unit="hours", from_on=MARCH, value=Decimal("NaN"))),
        "value: a decimal number as a string is wanted",
    ),
    "empty free text": (
        lambda w: ("person_described", Row(PersonDetails, person=w.person, from_on=MARCH, name="  ")),
        "name: it is empty",
    ),
    "free text past all sense": (
        lambda w: ("person_described", Row(PersonDetails, person=w.person, from_on=MARCH, name="x" * (MAX_TEXT + 1))),
        "name: it has 20001 characters",
    ),
    "a null character in free text": (
        lambda w: ("person_described", Row(PersonDetails, person=w.person, from_on=MARCH, name="x\x00y")),
        "name: it holds a control character",
    ),
}


def _subject(world: World, kind: str) -> int:
    return {"area_described": world.ward, "person_described": world.person}.get(kind, world.device)


@pytest.mark.parametrize("case", BAD_VALUES)
def test_a_bad_value_names_table_column_and_fault(world: World, case: str) -> None:
    build, fault = BAD_VALUES[case]
    kind, row = build(world)
    size = head().size
    with pytest.raises(BadValue, match=rf"^{row.model.record_name()}\.") as refusal:
        written(kind, _subject(world, kind), row)
    assert fault in str(refusal.value)
    assert head().size == size


def test_an_unknown_kind_is_refused(world: World) -> None:
    with pytest.raises(UnknownKind, match="'device_painted'"):
        written("device_painted", world.device, _due(world))


def test_a_row_that_the_kind_does_not_hold_is_refused(world: World) -> None:
    with pytest.raises(UnknownKind, match="device_placed holds no row due_inspection"):
        written("device_placed", world.device, _due(world))


def test_an_entry_without_rows_is_refused(world: World) -> None:
    with pytest.raises(UnknownKind, match=r"without rows"):
        written("device_placed", world.device)


def test_a_subject_of_another_kind_is_refused(world: World) -> None:
    with pytest.raises(UnknownReference, match="There is no device"):
        written("inspections_due", world.site, _due(world, device=world.site))
    person = Row(Person)
    with pytest.raises(UnknownKind, match="cannot be about"):
        written("area_opened", person, Row(Area, site=world.site))
    with pytest.raises(BadValue, match=r"entry\.subject"):
        append("device_placed", "7", [Row(Device)], actor=SYSTEM, at=AT)  # type: ignore[arg-type]


def test_an_entry_says_nothing_of_another_thing(world: World) -> None:
    other = a_device(world.model, "OM-2", world.ward)
    size = head().size
    with pytest.raises(AnotherSubject):
        written("device_placed", world.device, Row(Placement, device=other, area=world.ward, from_on=MARCH))
    of_another = Placement.objects.current().get(device=other)
    with pytest.raises(AnotherSubject):
        written("device_placed", world.device, replaces=[of_another], note="Taken back.")
    assert head().size == size


def test_a_row_of_another_entry_is_no_reference(world: World) -> None:
    elsewhere = Row(Area, site=world.site)
    with pytest.raises(UnknownReference, match="no area in this entry"):
        a_move(world, elsewhere, MARCH)  # type: ignore[arg-type]


def test_a_reference_into_the_void_is_refused(world: World) -> None:
    size = head().size
    with pytest.raises(UnknownReference, match="There is no area with the id 987654"):
        a_move(world, 987_654, MARCH)
    assert head().size == size


def test_a_moment_without_a_zone_is_refused(world: World) -> None:
    with pytest.raises(BadValue, match=r"entry\.at"):
        a_move(world, world.ward, MARCH, at=dt.datetime(2026, 10, 31, 7))  # noqa: DTZ001


def test_too_many_rows_at_once_are_refused(world: World) -> None:
    rows = [_due(world, due_on=day("2026-06-15"))] * (ROWS_AT_ONCE + 1)
    with pytest.raises(TooMuchAtOnce):
        written("inspections_due", world.device, *rows)


def test_two_current_facts_of_one_day_conflict_by_name(world: World) -> None:
    written("area_described", world.ward, _area(world))
    size = head().size
    with pytest.raises(Conflict) as conflict:
        written("area_described", world.ward, _area(world, name="W 6"))
    assert conflict.value.constraint == "areadetails_once_a_day"
    assert head().size == size


def test_a_window_that_closes_before_it_opens_is_refused_by_name(world: World) -> None:
    with pytest.raises(Conflict) as conflict:
        written("inspections_due", world.device, _due(world, closes_on=day("2026-05-01")))
    assert conflict.value.constraint == "dueinspection_window"


def test_what_was_replaced_cannot_be_replaced_again(world: World) -> None:
    a_move(world, world.ward, MARCH)
    wrong = Placement.objects.current().get(device=world.device, from_on=MARCH)
    written("device_placed", world.device, replaces=[wrong], note="Taken back.")
    size = head().size
    with pytest.raises(AlreadyReplaced):
        written("device_placed", world.device, replaces=[wrong], note="Taken back again.")
    assert head().size == size


def _tag(world: World, tag: str) -> Row:
    return Row(TagHeld, device=world.device, from_on=MARCH, tag=tag)


def test_one_bad_draft_keeps_the_whole_transaction_out(world: World) -> None:
    size = head().size
    good, bad = (Draft("tag_set", world.device, [_tag(world, tag)]) for tag in ("T-1", "T-2"))
    with pytest.raises(Conflict):
        append_many([good, bad], actor=SYSTEM, at=AT)
    assert head().size == size
    assert verify().sound


def test_numbers_with_a_reading_need_a_unit() -> None:
    inspection_entry = KINDS["inspection_recorded"]
    everything = Everything()
    everything.entry(inspection_entry)
    session = InspectionSession.objects.get()
    columns = {f.name: getattr(session, f.attname) for f in InspectionSession._meta.fields}
    left_out = {"id", "entry", "replaced_by", "note"}
    again = Row(InspectionSession, **{name: value for name, value in columns.items() if name not in left_out})
    with pytest.raises(Conflict) as conflict:
        written("inspection_recorded", session.inspection.device_id, again, _reading(session=again, as_found="0.12"))
    assert conflict.value.constraint == "reading_has_unit"


def test_bulk_work_leaves_garbage_collection_as_it_was():
    world = small_world()
    drafts = (Draft("device_placed", world.device, [Row(Placement, device=world.device, area=world.ward, from_on=d)])
              for d in (day("2026-05-01"), day("2026-05-02")))  # fmt: skip
    for _ in append_in_batches(drafts, actor=SYSTEM, at=AT):
        assert gc.isenabled()
    with pytest.raises(UnknownKind):
        list(append_in_batches([Draft("no_such_kind", world.device)], actor=SYSTEM, at=AT))
    assert gc.isenabled()
