"""The inventory as a list: what a device shows, which are chosen, how pages go on."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import AreaKind, Departure, OwnershipKind, RiskClass, ServiceStateKind
from pmcore.queries.asked import OutsideYourSites
from pmcore.queries.devices import DeviceFilter, DeviceListed, Named, devices_page, one_device
from pmcore.queries.head import head
from pmcore.services.catalogue import register_class
from pmcore.services.departures import leave_inventory
from pmcore.services.devices import move_device, set_tag
from tests.cast import AT, a_device, a_hospital, a_model, an_area

pytestmark = pytest.mark.django_db

TODAY = AT.date()


def page(actor=SYSTEM, *, as_of=TODAY, known=None, after=None, limit=100, **asked):
    known = head().size if known is None else known
    return devices_page(
        DeviceFilter(**asked), as_of=as_of, known=known, today=TODAY, actor=actor, after=after, limit=limit
    )


def ids(*given, **asked):
    return [each.device for each in page(*given, **asked).devices]


@pytest.fixture
def hospital():
    return a_hospital()


def test_a_device_shows_everything_that_a_list_needs(hospital):
    assert page().devices == (
        DeviceListed(
            device=hospital.device,
            tag="T-0001",
            serial="OM-1",
            maker="Orvane",
            model=Named(hospital.model, "Marl"),
            revision=None,
            device_class=Named(hospital.table, "Surgical table"),
            site=Named(hospital.alderwick, "Alderwick General"),
            area=Named(hospital.theatre, "Theatre 1"),
            ownership=OwnershipKind.OWNED,
            state=ServiceStateKind.IN_SERVICE,
            held=False,
            risk_class=RiskClass.OTHER,
        ),
    )


def test_one_device_is_the_same_as_in_the_list(hospital):
    found = one_device(hospital.device, as_of=TODAY, known=head().size, today=TODAY, actor=hospital.ruan)
    assert (found,) == page().devices


def test_only_devices_at_the_actors_sites_are_there(hospital):
    away = a_device(hospital.wim, hospital.model, "OM-2", hospital.ward)
    assert ids(hospital.ruan) == [hospital.device]
    assert ids(hospital.odile) == [hospital.device, away]
    assert one_device(away, as_of=TODAY, known=head().size, today=TODAY, actor=hospital.ruan) is None


def test_a_site_of_somebody_else_is_refused(hospital):
    with pytest.raises(OutsideYourSites):
        page(hospital.ruan, sites=frozenset({hospital.stennet}))


def test_place_and_tag_are_those_of_the_day_and_names_those_of_the_history(hospital):
    size = head().size
    moved_on = TODAY - dt.timedelta(days=10)
    move_device(device=hospital.device, area=hospital.ward, from_on=moved_on, actor=hospital.odile, at=AT)
    set_tag(device=hospital.device, tag="T-0009", from_on=moved_on, actor=hospital.odile, at=AT)
    before, after = page(as_of=moved_on - dt.timedelta(days=1)).devices[0], page(as_of=moved_on).devices[0]
    assert (before.tag, before.area.name) == ("T-0001", "Theatre 1")
    assert (after.tag, after.area.name, after.site.name) == ("T-0009", "Ward 6", "Stennet Point")
    assert page(known=size).devices[0] == before
    assert ids(hospital.ruan, as_of=moved_on) == []


def test_a_device_is_not_there_before_it_comes(hospital):
    assert ids(hospital.odile, as_of=dt.date(2025, 12, 31)) == []


def test_one_that_left_is_there_only_if_asked_for(hospital):
    leave_inventory(device=hospital.device, departure=Departure.SCRAPPED, from_on=TODAY, actor=hospital.odile, at=AT)
    assert ids() == []
    assert ids(states=frozenset({ServiceStateKind.LEFT})) == [hospital.device]
    assert ids(as_of=TODAY - dt.timedelta(days=1)) == [hospital.device]


def test_each_word_stands_somewhere_in_tag_serial_maker_or_model(hospital):
    lift = register_class(name="Patient lift", from_on=dt.date(2026, 1, 1), actor=hospital.odile, at=AT).subject
    sedge = a_model(hospital.odile, "Pellimar", "Sedge", lift)
    second = a_device(hospital.wim, sedge, "PS_100%", hospital.theatre, tag="T-0002")
    assert ids(words="t-0002") == ids(words="ps_1") == ids(words="pellimar") == ids(words="SEDGE t-00") == [second]
    assert ids(words="t-0") == [hospital.device, second]
    assert ids(words="sedge T-0001") == ids(words="___") == ids(words="%%") == []


def test_filters_by_what_it_is_and_where_it_stands(hospital):
    lift = register_class(name="Patient lift", from_on=dt.date(2026, 1, 1), actor=hospital.odile, at=AT).subject
    sedge = a_model(hospital.odile, "Pellimar", "Sedge", lift)
    store = an_area(hospital.wim, hospital.alderwick, "Store", AreaKind.STORE)
    second = a_device(hospital.wim, sedge, "PS-1", store)
    assert ids(device_classes=frozenset({lift})) == ids(device_models=frozenset({sedge})) == [second]
    assert ids(areas=frozenset({store})) == ids(areas=frozenset({store}), device_classes=frozenset({lift})) == [second]
    assert ids(areas=frozenset({store}), device_classes=frozenset({hospital.table})) == []
    assert ids(areas=frozenset({store}), sites=frozenset({hospital.stennet})) == []
    assert ids(sites=frozenset({hospital.alderwick})) == [hospital.device, second]
    assert ids(states=frozenset({ServiceStateKind.STORED})) == []


def test_pages_go_on_where_the_last_one_ended(hospital):
    others = [a_device(hospital.wim, hospital.model, f"OM-{number}", hospital.theatre) for number in range(2, 7)]
    everything, found, after = [hospital.device, *others], [], None
    for length in (2, 2, 2):
        part = page(after=after, limit=2)
        assert len(part.devices) == length
        found += [each.device for each in part.devices]
        after = part.after
    assert (found, after) == (everything, None)


def statements(**asked):
    with CaptureQueriesContext(connection) as captured:
        page(known=head().size, **asked)
    return len(captured) - 1  # one asked for the size


@pytest.mark.parametrize("devices", [1, 40])
def test_a_page_takes_the_same_number_of_statements_whatever_is_asked(hospital, devices):
    for number in range(devices):
        a_device(hospital.wim, hospital.model, f"N-{number}", hospital.theatre)
    narrow = {
        "words": "om table", "sites": frozenset({hospital.alderwick}), "areas": frozenset({hospital.theatre}),
        "device_classes": frozenset({hospital.table}), "device_models": frozenset({hospital.model}),
        "states": frozenset({ServiceStateKind.IN_SERVICE}),
    }  # fmt: skip
    assert statements() == statements(**narrow) == 17
    assert statements(words="nothing") < 17
