"""Asking for an export, and what is in it: every refusal has a name."""

import csv
import datetime as dt
import json
import re
from typing import Any

import pytest

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Role
from pmcore.models import Entry, Job, Placement
from pmcore.models.rows import Row
from pmcore.queries.asked import BadPeriod, KnownBeyond, OutsideYourPeriod, OutsideYourSites
from pmcore.queries.exports import export_for, exports_for
from pmcore.queries.head import head
from pmcore.services.devices import move_device, set_tag
from pmcore.services.exports import NothingToExport, ask_export, cancel_export
from pmcore.services.refusals import NotAllowed
from pmcore.services.verifications import ask_verification
from tests.cast import a_hospital, a_person, check_refused
from tests.export.building import EVERYBODYS, NOW, done, unpacked, verdict
from tests.history import JANUARY, MARCH, a_device, a_move, day, small_world, written

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def data(settings, tmp_path) -> None:
    settings.DATA, settings.SIGNING_KEY = tmp_path, tmp_path / "signing-key"


def seqs(told: Any) -> list[int]:
    return [json.loads(line)["seq"] for line in (told.folder / "history.ndjson").read_bytes().splitlines()]


# What is refused


@pytest.mark.parametrize("role", sorted(set(Role) - {Role.AUDITOR, Role.MANAGER, Role.ADMINISTRATOR}))
def test_only_those_who_check_export(role: Role) -> None:
    small_world()
    actor = Actor(None, role, None)
    with check_refused(NotAllowed, "may not export the history"):
        ask_export(actor=actor, at=NOW)
    with check_refused(NotAllowed, "may not cancel an export"):
        cancel_export(export=1, actor=actor, at=NOW)


def test_of_no_entries_there_is_no_export() -> None:
    with check_refused(NothingToExport):
        ask_export(actor=EVERYBODYS, at=NOW)
    small_world()
    with check_refused(NothingToExport):
        ask_export(known=0, actor=EVERYBODYS, at=NOW)


@pytest.mark.parametrize(
    ("asked", "error"),
    [
        ({"known": 10**6}, KnownBeyond),
        ({"known": -1}, KnownBeyond),
        ({"begins_on": day("2026-02-01"), "ends_on": day("2026-01-31")}, BadPeriod),
        ({"sites": [10**9]}, OutsideYourSites),
    ],
)
def test_what_cannot_be_exported_is_named(asked: dict[str, Any], error: type[Exception]) -> None:
    small_world()
    with check_refused(error):
        ask_export(actor=EVERYBODYS, at=NOW, **asked)
    assert not Job.objects.exists()


def test_a_site_that_is_not_the_actors_is_refused() -> None:
    hospital = a_hospital()
    auditor = a_person("Ines Kaldervik", Role.AUDITOR, hospital.alderwick)
    with check_refused(OutsideYourSites):
        ask_export(sites=[hospital.stennet], actor=auditor, at=NOW)


def test_a_token_for_a_period_exports_that_period_and_no_other() -> None:
    small_world()
    narrowed = Actor(None, Role.AUDITOR, None, token=None, begins_on=MARCH, ends_on=day("2026-12-31"))
    told = done(narrowed)
    assert (told.scope.begins_on, told.scope.ends_on) == (MARCH, day("2026-12-31"))
    with check_refused(OutsideYourPeriod):
        ask_export(begins_on=JANUARY, actor=narrowed, at=NOW)
    whole = done()
    assert export_for(whole.id, narrowed) is None
    assert exports_for(narrowed) == [told]


# What is in it


def test_a_period_holds_the_entries_of_its_days() -> None:
    world = small_world()
    size = head().size
    later = dt.datetime(2026, 11, 2, 0, 0, tzinfo=dt.UTC)
    a_move(world, world.ward, MARCH, at=later - dt.timedelta(seconds=1))
    a_move(world, world.theatre, MARCH, at=later)
    assert seqs(done(begins_on=day("2026-11-01"), ends_on=day("2026-11-01"))) == [size + 1]
    assert seqs(done(ends_on=day("2026-10-31"), known=size + 2)) == list(range(1, size + 1))


def test_a_period_without_entries_is_an_export_of_none(tmp_path) -> None:
    small_world()
    told = done(begins_on=day("2020-01-01"), ends_on=day("2020-12-31"))
    assert (told.entries, (told.folder / "history.ndjson").read_bytes()) == (0, b"")
    status, last = verdict(unpacked(told, tmp_path / "pack"))
    assert status == 0
    assert last.startswith("VERIFIED: 0 of ")


def test_an_export_of_a_site_has_what_is_there_and_what_is_nowhere() -> None:
    hospital = a_hospital()
    size = head().size
    everywhere = {entry.seq for entry in Entry.objects.filter(kind__in=["class_registered", "person_registered"])}
    for site, other in ((hospital.alderwick, hospital.stennet), (hospital.stennet, hospital.alderwick)):
        found = set(seqs(done(sites=[site], known=size)))
        assert Entry.objects.get(kind="site_opened", subject=site).seq in found
        assert Entry.objects.get(kind="site_opened", subject=other).seq not in found
        assert everywhere <= found


def test_a_move_is_at_both_sites_and_what_follows_at_the_second() -> None:
    hospital = a_hospital()
    registered = Entry.objects.get(kind="device_registered").seq
    at, on, actor = dt.datetime(2026, 11, 3, 9, tzinfo=dt.UTC), day("2026-11-03"), hospital.odile
    moved = move_device(device=hospital.device, area=hospital.ward, from_on=on, actor=actor, at=at).seq
    tagged = set_tag(device=hospital.device, tag="T-2", from_on=on, actor=actor, at=at).seq
    size = head().size
    first, second = (set(seqs(done(sites=[each], known=size))) for each in (hospital.alderwick, hospital.stennet))
    assert {registered, moved, tagged} & first == {registered, moved}
    assert {registered, moved, tagged} & second == {moved, tagged}


def test_a_later_correction_moves_no_entry() -> None:
    hospital = a_hospital()
    size = head().size
    before = seqs(done(sites=[hospital.stennet], known=size))
    fact = Placement.objects.current().get(device=hospital.device)
    row = Row(Placement, device=hospital.device, area=hospital.ward, from_on=fact.from_on)
    corrected = written("device_placed", hospital.device, row, replaces=[fact]).seq
    after = seqs(done(sites=[hospital.stennet]))
    assert [seq for seq in after if seq <= size] == before
    assert corrected in after


def test_the_table_does_nothing_in_a_spreadsheet_and_says_the_same() -> None:
    world = small_world()
    for serial in ("=1+1", '",=1+1', "+1", "@SUM(1)", "'=1"):
        a_device(world.model, serial)
    told = done()
    lines = list(csv.DictReader((told.folder / "history.csv").read_text("utf-8-sig").splitlines()))
    bodies = [json.loads(line) for line in (told.folder / "history.ndjson").read_bytes().splitlines()]
    assert [(int(line["seq"]), line["kind"], json.loads(line["rows"])) for line in lines] == [
        (each["seq"], each["kind"], each["rows"]) for each in bodies
    ]
    # No word of anybody stands in a cell of its own: numbers, moments, our words, hashes, and rows in brackets.
    harmless = re.compile(r"\d*|\d{4}-[\dT:.-]+Z|[a-z_]+|[0-9a-f]{64}|[\d ]+|\[.*\]", re.ASCII)
    assert [cell for line in lines for cell in line.values() if not harmless.fullmatch(cell)] == []


def test_a_member_of_all_sites_exports_the_whole_history() -> None:
    hospital = a_hospital()
    size = head().size
    told = done(hospital.odile)
    assert (told.scope.sites, told.entries) == (None, size)
    assert exports_for(hospital.ruan) == []


def test_the_list_costs_three_statements(django_assert_num_queries) -> None:
    hospital = a_hospital()
    done(hospital.odile)
    done(hospital.odile)
    with django_assert_num_queries(3):
        assert len(exports_for(hospital.odile)) == 2


@pytest.mark.parametrize("role", sorted(set(Role) - {Role.AUDITOR, Role.MANAGER, Role.ADMINISTRATOR}))
def test_only_those_who_check_ask_for_a_verification(role: Role) -> None:
    with check_refused(NotAllowed, "may not verify the record"):
        ask_verification(actor=Actor(None, role, None), at=NOW)
