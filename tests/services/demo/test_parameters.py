"""What the fixtures say fits together, and no name stands for two."""

import datetime as dt
from collections import Counter

import pytest

from pmcore.services.demo.changes import Change, ScenesCollide, together
from pmcore.services.demo.fleet import machines, windows_of
from pmcore.services.demo.parameters import quillmere


def twice(names: list[str]) -> list[str]:
    return [name for name, times in Counter(name.casefold() for name in names).items() if times > 1]


def test_no_name_stands_for_two() -> None:
    parameters = quillmere()
    assert twice([person.name for person in parameters.people]) == []
    assert twice([f"{m.maker} {m.name}" for each in parameters.classes for m in each.every_model()]) == []
    assert twice([each.name for each in parameters.classes]) == []
    assert twice([sheet.name for sheet in parameters.sheets.values()]) == []
    assert twice([plan.key for each in parameters.classes for plan in each.plans]) == []


def test_tags_and_serial_numbers_are_given_once() -> None:
    fleet = machines(quillmere(), 5, 2_000)
    assert twice([machine.tag for machine in fleet]) == twice([machine.serial for machine in fleet]) == []


def test_every_sheet_warns_and_asks_for_decontamination_first() -> None:
    for sheet in quillmere().sheets.values():
        assert sheet.cautions[0] == "Decontaminate first."
        assert sheet.steps[0].key == "cleaned"


@pytest.mark.parametrize("devices", [60, 649, 650, 651, 2_000])
def test_there_are_as_many_devices_as_are_asked_for(devices: int) -> None:
    fleet = machines(quillmere(), 5, devices)
    assert [machine.number for machine in fleet] == list(range(1, devices + 1))
    assert {machine.device_class.key for machine in fleet} == {each.key for each in quillmere().classes}
    assert sum(machine.core for machine in fleet) == min(devices, 650)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_as_many_windows_close_in_the_quarter_whatever_the_seed(seed: int) -> None:
    parameters = quillmere()
    closing = (dt.date(2026, 4, 1), dt.date(2026, 6, 30))
    windows = windows_of(machines(parameters, seed), parameters, closing=closing)
    by_site = Counter(each.machine.site for each in windows)
    assert by_site == {"AG": 335, "SP": 239, "FL": 110, "CR": 98}


def test_a_larger_demonstration_adds_nothing_where_the_quarter_is_planted() -> None:
    fleet = machines(quillmere(), 5, 5_000)
    assert {machine.site for machine in fleet if not machine.core} == {"AG", "SP", "CR"}


def test_scenes_that_say_different_things_of_one_inspection_are_refused() -> None:
    key = (1, "table-yearly", dt.date(2026, 5, 8))
    both = together([{key: Change(done=True)}, {key: Change(instrument="K-1")}])
    assert both == {key: Change(done=True, instrument="K-1")}
    with pytest.raises(ScenesCollide, match="done"):
        together([{key: Change(done=True)}, {key: Change(done=False)}])
