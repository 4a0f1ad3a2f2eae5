"""Device classes from a table of product codes, as the US Food and Drug Administration publishes one.

Seventeen columns with pipes between them, a heading first. Taken over are the product code, the device's name, the
regulation's number and whether it supports or sustains life; that flag makes whatever is of the class life support.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from pmcore.engines.records import Actor
from pmcore.models import ClassDetails, DeviceClass
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from pmcore.services.append import Draft, append_in_batches
from pmcore.services.permissions import check_role
from pmcore.services.values import check_values

_CODE, _NAME, _REGULATION, _LIFE = "PRODUCTCODE", "DEVICENAME", "REGULATIONNUMBER", "Life_Sustain_support_flag"
_SAID = {"Y": True, "N": False, "": None}
_AT_ONCE = 500

Progress = Callable[[int], None]


class NoClassTable(ValueError):
    """The file is no table of product codes."""


@dataclass(frozen=True, slots=True)
class ClassLine:
    number: int
    code: str
    name: str
    regulation: str | None
    life_support: bool | None


@dataclass
class ClassReport:
    """`refused`: why, by the number of the line."""

    added: int = 0
    changed: int = 0
    there: int = 0
    refused: dict[int, str] = field(default_factory=dict)


def read_class_lines(lines: Iterable[bytes], refused: dict[int, str]) -> Iterator[ClassLine]:
    """The lines of the table, in Windows-1252 as it is published; one that is none is refused by its number.

    Raises NoClassTable where the heading lacks a column.
    """
    width, places = 0, {}
    for number, raw in enumerate(lines, 1):
        try:
            cells = [cell.strip() for cell in raw.decode("cp1252").rstrip("\r\n").split("|")]
        except UnicodeDecodeError as error:
            refused[number] = f"it holds the byte {error.object[error.start]:#x}, which Windows-1252 does not know"
            continue
        if number == 1:
            places, width = {name: at for at, name in enumerate(cells)}, len(cells)
            if missing := [name for name in (_CODE, _NAME, _REGULATION, _LIFE) if name not in places]:
                raise NoClassTable(f"The first line names no column {', '.join(missing)}.")
        elif cells != [""]:
            line = _line(number, cells, width, places, refused)
            if line is not None:
                yield line
    if not width:
        raise NoClassTable("The file is empty.")


def _line(
    number: int, cells: list[str], width: int, places: dict[str, int], refused: dict[int, str]
) -> ClassLine | None:
    if len(cells) != width:
        refused[number] = f"it has {len(cells)} cells, the heading {width}"
        return None
    code, name, regulation, life = (cells[places[column]] for column in (_CODE, _NAME, _REGULATION, _LIFE))
    if not code or not name:
        refused[number] = "it has no product code or no name"
        return None
    if life not in _SAID:
        refused[number] = f"{_LIFE} is {life!r}, neither Y nor N"
        return None
    return ClassLine(number, code, name, regulation or None, _SAID[life])


def import_classes(
    lines: Iterable[bytes],
    *,
    from_on: dt.date,
    actor: Actor,
    at: dt.datetime,
    dry_run: bool,
    progress: Progress = lambda done: None,
) -> ClassReport:
    """New product codes become device classes; what a newer table says otherwise counts from `from_on`. Done twice, it
    changes nothing. Two codes of one name are told apart by their codes.

    Raises NoClassTable, NotAllowed.
    """
    check_role(actor, "register a class")
    report = ClassReport()
    held = _Held(from_on)
    drafts: list[Draft] = []
    for done, line in enumerate(read_class_lines(lines, report.refused), 1):
        draft = held.draft(line, report)
        if draft is not None:
            drafts.append(draft)
        if done % _AT_ONCE == 0:
            progress(done)
    if not dry_run:
        for _ in append_in_batches(drafts, actor=actor, at=at):
            pass
    return report


class _Held:
    """The classes of the record, by code and by name."""

    def __init__(self, from_on: dt.date) -> None:
        self.from_on = from_on
        self.seen: set[str] = set()  # codes of this file
        self.by_code: dict[str, ClassDetails] = {}
        self.names: set[str] = set()
        for each in ClassDetails.objects.current().order_by("from_on", "id"):
            self.names.add(each.name.casefold())
            # In force on the day; else the first that is said later.
            if each.product_code and (each.product_code not in self.by_code or each.from_on <= from_on):
                self.by_code[each.product_code] = each

    def draft(self, line: ClassLine, report: ClassReport) -> Draft | None:
        held = self.by_code.get(line.code)
        if line.code in self.seen:
            report.refused[line.number] = f"the product code {line.code} stands on an earlier line"
            return None
        self.seen.add(line.code)
        named_so = held is not None and held.name in {line.name, _with_code(line)}
        name = held.name if held is not None and named_so else self._free(line)
        said = {
            "name": name,
            "product_code": line.code,
            "regulation": line.regulation,
            "life_support": line.life_support,
        }
        if held is not None and all(getattr(held, column) == value for column, value in said.items()):
            report.there += 1
            return None
        thing: int | Row = Row(DeviceClass) if held is None else held.device_class_id
        details = Row(ClassDetails, device_class=thing, from_on=self.from_on, **said)
        try:
            check_values(details)
        except BadValue as bad:
            report.refused[line.number] = f"{bad.column}: {bad.fault}"
            return None
        self.names.add(name.casefold())
        return self._drafted(thing, details, held, report)

    def _drafted(self, thing: int | Row, details: Row, held: ClassDetails | None, report: ClassReport) -> Draft:
        if isinstance(thing, Row):
            report.added += 1
            return Draft("class_registered", thing, [thing, details])
        report.changed += 1
        assert held is not None
        # Said again of the day on which the other was said, it takes that one's place.
        replaces = [held] if held.from_on == self.from_on else []
        return Draft("class_described", thing, [details], replaces)

    def _free(self, line: ClassLine) -> str:
        return line.name if line.name.casefold() not in self.names else _with_code(line)


def _with_code(line: ClassLine) -> str:
    return f"{line.name} ({line.code})"
