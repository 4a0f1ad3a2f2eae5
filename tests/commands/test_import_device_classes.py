"""Device classes come in from the public table of product codes.

The rows below are of the US Food and Drug Administration's product classification table (foiclass.txt, a US government
work) as of September 2016, read from the file; the last two were changed to have one name twice.
"""

import datetime as dt
from pathlib import Path

import pytest
import time_machine
from django.core.management import CommandError, call_command

from pmcore.engines.vocabulary import RiskClass
from pmcore.models import ClassDetails
from pmcore.queries.head import head
from pmcore.queries.risk import risk_facts
from tests.cast import AT, a_hospital

pytestmark = pytest.mark.django_db

HEADING = (
    "REVIEW_PANEL|MEDICALSPECIALTY|PRODUCTCODE|DEVICENAME|DEVICECLASS|UNCLASSIFIED_REASON|GMPEXEMPTFLAG|THIRDPARTYFLAG|"
    "REVIEWCODE|REGULATIONNUMBER|SUBMISSION_TYPE_ID|DEFINITION|PHYSICALSTATE|TECHNICALMETHOD|TARGETAREA|Implant_Flag|"
    "Life_Sustain_support_flag"
)
STOOL = "AN|AN|BRX|Stool, Anesthesia|1||N|N||868.6700|4|||||N|N"
CUFF = "AN|AN|BSK|Cuff, Tracheal Tube, Inflatable|2||N|P||868.5750|1|||||N|Y"
TWINS = (STOOL.replace("BRX", "XA1"), STOOL.replace("BRX", "XA2"))
REAL = Path(__file__).resolve().parents[3] / "shared" / "data" / "foiclass.txt"


@pytest.fixture
def hospital():
    with time_machine.travel(AT, tick=False):
        yield a_hospital()


@pytest.fixture
def imported(hospital, tmp_path, capsys):
    def run(*lines: str | bytes, options: tuple[str, ...] = (), heading: str = HEADING) -> str:
        path = tmp_path / "classes.txt"
        every = [heading, *lines]
        path.write_bytes(b"\r\n".join(line if isinstance(line, bytes) else line.encode("cp1252") for line in every))
        try:
            call_command("import_device_classes", str(path), *options)
        except CommandError as refused:
            return capsys.readouterr().out + str(refused)
        return capsys.readouterr().out

    return run


def test_code_name_regulation_and_flag_are_taken_over(imported):
    assert imported(STOOL, CUFF) == "Done: 2 added, 0 changed, 0 already there, 0 refused.\n"
    cuff = ClassDetails.objects.get(product_code="BSK")
    assert (cuff.name, cuff.regulation, cuff.life_support) == ("Cuff, Tracheal Tube, Inflatable", "868.5750", True)
    assert ClassDetails.objects.get(product_code="BRX").life_support is False


def test_the_flag_makes_a_class_life_support(imported):
    imported(STOOL, CUFF)
    facts = risk_facts(head().size)
    classes = dict(ClassDetails.objects.values_list("product_code", "device_class_id"))
    assert facts.of_class(classes["BSK"], AT.date()) is RiskClass.LIFE_SUPPORT
    assert facts.of_class(classes["BRX"], AT.date()) is RiskClass.OTHER


def test_twice_changes_nothing(imported):
    imported(STOOL, CUFF)
    size = head().size
    assert imported(STOOL, CUFF) == "Done: 0 added, 0 changed, 2 already there, 0 refused.\n"
    assert head().size == size


def test_a_newer_table_changes_what_differs_from_a_day_on(imported):
    imported(STOOL)
    imported(STOOL.replace("868.6700", "868.9999"), options=("--from-on", "2026-12-01"))
    current = ClassDetails.objects.current()
    assert current.on(AT.date()).get(product_code="BRX").regulation == "868.6700"
    assert current.on(dt.date(2026, 12, 1)).get(product_code="BRX").regulation == "868.9999"


def test_an_earlier_day_adds_nothing_again(imported):
    imported(STOOL)
    assert "0 added, 0 changed, 1 already there" in imported(STOOL, options=("--from-on", "2026-01-01"))


def test_a_table_that_is_corrected_on_the_same_day(imported):
    imported(STOOL)
    assert "0 added, 1 changed" in imported(STOOL.replace("868.6700", "868.9999"))
    assert ClassDetails.objects.current().get(product_code="BRX").regulation == "868.9999"


def test_two_codes_of_one_name_are_told_apart(imported):
    imported(*TWINS)
    names = ClassDetails.objects.filter(product_code__startswith="XA").order_by("product_code")
    assert list(names.values_list("name", flat=True)) == ["Stool, Anesthesia", "Stool, Anesthesia (XA2)"]
    assert "2 already there" in imported(*TWINS)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (b"AN|AN|BRX|Sto\x81l|1||N|N||868.6700|4|||||N|N", "it holds the byte 0x81"),
        (STOOL + "|more", "it has 18 cells, the heading 17"),
        (STOOL.replace("BRX", ""), "it has no product code or no name"),
        (STOOL[:-1] + "X", "is 'X', neither Y nor N"),
    ],
)
def test_a_bad_line_is_named_and_the_others_go_in(imported, line, says):
    said = imported(line, CUFF)
    assert "line 2: " in said
    assert says in said
    assert "1 added" in said


def test_a_code_that_stands_there_twice(imported):
    other = STOOL.replace("868.6700", "868.9999")
    for _ in range(2):
        assert "line 3: the product code BRX stands on an earlier line" in imported(STOOL, other)
    assert ClassDetails.objects.current().get(product_code="BRX").regulation == "868.6700"


def test_a_dry_run_writes_nothing(imported):
    size = head().size
    assert "Nothing was written. It would be: 1 added" in imported(STOOL, options=("--dry-run",))
    assert head().size == size


def test_a_file_without_its_columns(imported):
    assert "names no column DEVICENAME" in imported(heading=HEADING.replace("DEVICENAME", "NAME"))


@pytest.mark.skipif(not REAL.exists(), reason="the public table does not lie beside this checkout")
def test_the_whole_table(hospital, capsys):
    call_command("import_device_classes", str(REAL))
    assert capsys.readouterr().out == "Done: 6,162 added, 0 changed, 0 already there, 0 refused.\n"
    assert ClassDetails.objects.filter(life_support=True).count() == 184
