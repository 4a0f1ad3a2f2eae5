"""An inventory comes in by a command: good lines go in once, bad ones are named by line, column and reason."""

import datetime as dt
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import time_machine
from django.core.management import CommandError, call_command

from pmcore.engines.records import SYSTEM
from pmcore.models import CarriedOver, Device, DeviceIdentity, DeviceOrigin, ModelDetails, Placement, TagHeld
from pmcore.queries.head import head
from pmcore.queries.verification import verify
from pmcore.services import inventory
from pmcore.services.accounts import create_account
from tests.cast import AT, JANUARY, Hospital, a_hospital, a_procedure

pytestmark = pytest.mark.django_db

HEADING = "tag,serial number,maker,model,device class,runs on,site,area,known from,last done: Yearly check"
GOOD = "N-1,S-1,Orvane,Marl,,,AG,Theatre 1,2026-03-04,2026-02-01"


@pytest.fixture
def hospital():
    with time_machine.travel(AT, tick=False):
        hospital = a_hospital()
        a_procedure(hospital.odile)
        yield hospital


class Imported:
    """What the command printed, and its status."""

    def __init__(self, folder: Path, capsys: Any, *lines: str, heading: str = HEADING, options: tuple[str, ...] = ()):
        path = folder / "in.csv"
        path.write_text("\n".join([heading, *lines]), encoding="utf-8")
        try:
            call_command("import_inventory", str(path), *options)
            self.status = 0
        except CommandError as refused:
            self.status, self.error = refused.returncode, str(refused)
        self.said = capsys.readouterr().out


@pytest.fixture
def imported(hospital, tmp_path, capsys):
    return lambda *lines, **options: Imported(tmp_path, capsys, *lines, **options)


def test_a_good_line_is_a_device_with_all_that_it_says(imported, hospital: Hospital):
    assert imported(GOOD).said.endswith("Done: 1 added.\n")
    identity = DeviceIdentity.objects.get(serial="S-1")
    device = identity.device_id
    assert identity.device_model_id == hospital.model
    assert TagHeld.objects.get(device=device).tag == "N-1"
    assert Placement.objects.get(device=device).area_id == hospital.theatre
    origin = DeviceOrigin.objects.get(device=device)
    assert (origin.known_from_on, origin.found_in_use) == (dt.date(2026, 3, 4), True)
    assert CarriedOver.objects.get(device=device).performed_on == dt.date(2026, 2, 1)
    assert verify().sound


def test_twice_changes_nothing(imported):
    imported(GOOD)
    size = head().size
    again = imported(GOOD)
    assert (again.status, head().size) == (0, size)
    assert again.said == "Done: 1 already there.\n"


def test_a_dry_run_says_the_same_and_writes_nothing(imported):
    size = head().size
    said = imported(GOOD, "N-2,S-2,Nova,Q,Surgical table,mains+battery,AG,Theatre 1,,", options=("--dry-run",)).said
    assert said == "Nothing was written. It would be: 2 added.\nNew models: Nova Q.\n"
    assert head().size == size


def test_a_model_that_is_new_is_added_under_its_class(imported, hospital: Hospital):
    line = "N-2,S-2,Nova,Q,surgical TABLE,mains+battery,Alderwick General,theatre 1,,"
    assert "New models: Nova Q." in imported(line, line.replace("2", "3")).said
    details = ModelDetails.objects.get(maker="Nova")
    assert (details.device_class_id, details.mains, details.battery, details.manual) == (
        hospital.table, True, True, False,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("line", "column", "reason"),
    [
        ("N-1,,Orvane,Marl,,,AG,Theatre 1,,", "serial number", "it is empty"),
        ("N-1,S-1,Orvane,Marl,,,Alderwik,Theatre 1,,", "site", "did you mean Alderwick General?"),
        ("N-1,S-1,Orvane,Marl,,,AG,Theater 1,,", "area", "at AG; did you mean Theatre 1?"),
        ("N-1,S-1,Orvane,Marll,,,AG,Theatre 1,,", "model", "did you mean Marl?"),
        ("N-1,S-1,Nova,Q,Surgical tabel,mains,AG,Theatre 1,,", "device class", "did you mean Surgical table?"),
        ("N-1,S-1,Nova,Q,Surgical table,steam,AG,Theatre 1,,", "runs on", "say what it runs on"),
        ("N-1,S-1,Orvane,Marl,,,AG,Theatre 1,03/04/2026,", "known from", "could be read in two ways"),
        ("N-1,S-1,Orvane,Marl,,,AG,Theatre 1,2026-02-30,", "known from", "is no day of the calendar"),
        ("N-1,S-1,Orvane,Marl,,,AG,Theatre 1,2027-01-01,", "known from", "has not come yet"),
        ("N-1,S-1,Orvane,Marl,,,AG,Theatre 1,,last week", "last done: Yearly check", "is no date"),
        ("N-1,=1+1,Orvane,Marl,,,AG,Theatre 1,,", "serial number", "it holds a formula"),
        ("N-1,S\x001,Orvane,Marl,,,AG,Theatre 1,,", "serial number", "control character"),
        ("N-1,S-\u200b1,Orvane,Marl,,,AG,Theatre 1,,", "serial number", "cannot be seen"),
        ("T-0001,S-1,Orvane,Marl,,,AG,Theatre 1,,", "tag", "another device carries T-0001"),
        ("N-1,S-1,Orvane,Marl,,,AG,Theatre 1,,,extra", "line", "it has 11 cells, the heading 10"),
        ("N-1,S-1,Orvane,Marl,,,AG,Theatre 1", "line", "it has 8 cells, the heading 10"),
    ],
)
def test_a_bad_line_is_named_and_the_others_go_in(imported, line, column, reason):
    found = imported(line, GOOD.replace("1", "7", 2))
    assert found.status == 1
    (said,) = [each for each in found.said.splitlines() if each.startswith("line 2,")]
    assert said.startswith(f"line 2, {column}: ")
    assert reason in said
    assert "1 added, 1 refused" in found.said
    assert DeviceIdentity.objects.filter(serial="S-7").exists()


def test_what_stands_on_two_lines(imported):
    found = imported(GOOD, GOOD.replace("N-1", "N-9"), GOOD.replace("S-1", "S-9"))
    assert "line 3, serial number: line 2 has the same (refused)" in found.said
    assert "line 4, tag: line 2 has the same (refused)" in found.said


def test_maker_and_model_are_not_run_together(imported):
    one = "N-1,S-1,Nova,Q Two,Surgical table,mains,AG,Theatre 1,,"
    other = one.replace("Nova,Q Two", "Nova Q,Two").replace("N-1", "N-2")
    assert imported(one, other).said.startswith("Done: 2 added.")


def test_a_workbook_may_leave_the_last_cells_of_a_line_out(hospital, tmp_path, capsys):
    book = openpyxl.Workbook()
    book.active.append(HEADING.split(","))
    book.active.append(GOOD.split(",")[:8])
    book.active.append(["N-2", dt.date(2026, 2, 1), *GOOD.split(",")[2:8]])
    book.save(tmp_path / "in.xlsx")
    with pytest.raises(CommandError):
        call_command("import_inventory", str(tmp_path / "in.xlsx"))
    said = capsys.readouterr().out
    assert "line 3, serial number: it holds the date 2026-02-01: give the cell the form of text (refused)" in said
    assert "Done: 1 added, 1 refused." in said


def test_all_or_nothing(imported):
    devices = Device.objects.count()
    found = imported(GOOD, "N-2,,Orvane,Marl,,,AG,Theatre 1,,", options=("--all-or-nothing",))
    assert (found.status, Device.objects.count()) == (1, devices)
    assert "Nothing was written. It would be: 1 added, 1 refused." in found.said
    assert imported(GOOD, options=("--all-or-nothing",)).status == 0
    assert Device.objects.count() == devices + 1


def test_another_tag_is_said_and_not_changed(imported):
    imported(GOOD)
    found = imported(GOOD.replace("N-1", "N-2"))
    assert found.status == 1
    assert "line 2, tag: the device is in the record without the tag N-2 (differs from the record)" in found.said
    assert TagHeld.objects.filter(tag="N-2").count() == 0


@pytest.mark.parametrize(("order", "day"), [("day-first", dt.date(2026, 4, 3)), ("month-first", dt.date(2026, 3, 4))])
def test_the_order_of_days_is_said(imported, order, day):
    imported(GOOD.replace("2026-03-04", "03/04/2026"), options=("--date-order", order))
    assert (
        DeviceOrigin.objects.get(device__in=DeviceIdentity.objects.filter(serial="S-1").values("device")).known_from_on
        == day
    )


def test_a_column_with_days_in_two_orders_brings_nothing_in(imported):
    size = head().size
    mixed = GOOD.replace("1", "7", 2).replace("2026-03-04", "04/25/2026")
    found = imported(GOOD.replace("2026-03-04", "03/04/2026"), mixed, options=("--date-order", "day-first"))
    assert found.error.startswith("Line 3, known from: '04/25/2026' is not written day-first")
    assert head().size == size


@pytest.mark.parametrize(
    ("was", "becomes", "says"),
    [
        ("2026-03-04", "2026-03-05", "known from: the record has 2026-03-04"),
        ("2026-02-01", "2026-02-02", "last done: the record has 2026-02-01"),
        ("AG,Theatre 1", "SP,Ward 6", "area: the record has it in another area"),
    ],
)
def test_what_the_record_says_otherwise_is_named_and_not_changed(imported, was, becomes, says):
    imported(GOOD)
    size = head().size
    found = imported(GOOD.replace(was, becomes))
    assert f"line 2, {says} (differs from the record)" in found.said
    assert (found.status, head().size) == (1, size)


def test_columns_are_mapped(imported):
    heading = HEADING.replace("serial number", "S/N").replace("area", "Location")
    found = imported(GOOD, heading=heading, options=("--map", "serial number=S/N", "--map", "area=location"))
    assert found.said == "Done: 1 added.\n"


@pytest.mark.parametrize(
    ("heading", "says"),
    [
        (HEADING.replace("area", "place"), "'place' is no column of ours; 'area' is missing"),
        (HEADING.replace("runs on", "tag"), "'tag' stands there twice"),
        (HEADING.replace("runs on", ""), "column 6 has no name"),
    ],
)
def test_a_heading_that_will_not_do(imported, heading, says):
    found = imported(GOOD, heading=heading)
    assert found.status == 1
    assert says in found.error


def test_whoever_imports_needs_the_role_and_the_site(imported, hospital):
    by = {"password": "kestrel-lathe-amber", "actor": SYSTEM, "at": AT, "on": JANUARY}
    create_account(username="ruan", name="R", role="technician", site_labels=["AG"], **by)
    create_account(username="maud", name="M", role="manager", site_labels=["SP"], **by)
    assert "may not register a device" in imported(GOOD, options=("--by", "ruan")).error
    assert "line 2, site: you are no member of AG (refused)" in imported(GOOD, options=("--by", "maud")).said
    assert "There is no account called" in imported(GOOD, options=("--by", "nobody")).error


def test_many_lines_go_in_some_at_a_time(imported, monkeypatch):
    monkeypatch.setattr(inventory.bring_in, "LINES_AT_ONCE", 7)
    lines = [f"N-{n},S-{n},Nova,Q,Surgical table,mains,AG,Theatre 1,," for n in range(30)]
    assert imported(*lines, lines[0]).said.startswith("line 32, serial number: line 2 has the same")
    assert DeviceIdentity.objects.filter(serial__startswith="S-").count() == 30
