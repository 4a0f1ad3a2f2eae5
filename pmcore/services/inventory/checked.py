"""One line of an inventory: from cells to what is to be registered, or to everything that is wrong with it."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from enum import StrEnum
from typing import TypeVar

from pmcore.engines.vocabulary import EnergySource, OwnershipKind
from pmcore.queries.inventory_held import InventoryHeld, Place
from pmcore.services.inventory.columns import Heading
from pmcore.services.inventory.files import Cell, Line, UnreadableFile

_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_OTHER = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})")
_FIRST_YEAR = 1950
_MONTHS = 12
_Value = TypeVar("_Value")
_OWNERSHIP = {
    "owned": OwnershipKind.OWNED, "leased": OwnershipKind.LEASED, "rented": OwnershipKind.RENTED,
    "on loan": OwnershipKind.ON_LOAN, "on trial": OwnershipKind.ON_TRIAL, "patient's own": OwnershipKind.PATIENTS_OWN,
}  # fmt: skip


class MixedDates(UnreadableFile):
    """A column holds days in another order than was said."""


class DateOrder(StrEnum):
    DAY_FIRST = "day-first"
    MONTH_FIRST = "month-first"


@dataclass(frozen=True, slots=True)
class ModelWanted:
    """A model that the record does not know yet."""

    maker: str
    name: str
    device_class: int
    runs_on: frozenset[EnergySource]


@dataclass(frozen=True, slots=True)
class DeviceLine:
    """What a line says. `model` is an id, or what is to be registered first; `maker_and_name` of it, in small letters;
    `last_done` by procedure."""

    number: int
    tag: str | None
    serial: str
    model: int | ModelWanted
    maker_and_name: tuple[str, str]
    revision: int | None
    place: Place
    known_from_on: dt.date
    found_in_use: bool
    ownership: OwnershipKind
    last_done: Mapping[int, dt.date]
    given: frozenset[str]  # the columns in which something stands


@dataclass
class LineChecker:
    """Reads one line; `faults`: a reason by column."""

    heading: Heading
    held: InventoryHeld
    today: dt.date
    order: DateOrder | None
    line: Line
    faults: dict[str, str] = field(default_factory=dict)

    def device(self) -> DeviceLine | None:
        """None where anything is wrong."""
        if len(self.line.cells) != self.heading.width:
            self.faults["line"] = f"it has {len(self.line.cells)} cells, the heading {self.heading.width}"
        serial = self._text("serial number", needed=True)
        tag = self._text("tag") or None
        model = self._model()
        revision = self._revision(model)
        place = self._place()
        known = self._day("known from", self._cell("known from")) or self.today
        in_use = self._one_of("in use", {"yes": True, "no": False}, True)
        ownership = self._one_of("ownership", _OWNERSHIP, OwnershipKind.OWNED)
        last_done = self._last_done()
        if self.faults or model is None or place is None:
            return None
        given = frozenset(column for column in self.heading.places if self._cell(column).text)
        name = self._text("maker").casefold(), self._text("model").casefold()
        return DeviceLine(
            self.line.number, tag, serial, model, name, revision, place, known, in_use, ownership, last_done, given
        )

    def _cell(self, column: str) -> Cell:
        return self.heading.cell(self.line.cells, column)

    def _text(self, column: str, *, needed: bool = False) -> str:
        cell = self._cell(column)
        if cell.fault:
            self.faults[column] = cell.fault
        elif cell.day is not None:
            self.faults[column] = f"it holds the date {cell.text}: give the cell the form of text"
        elif needed and not cell.text:
            self.faults[column] = "it is empty"
        return cell.text

    def _one_of(self, column: str, words: Mapping[str, _Value], otherwise: _Value) -> _Value:
        text = self._text(column).casefold().replace("_", " ")
        if text and text not in words:
            self.faults[column] = f"{text!r} is none of {', '.join(words)}"
        return words.get(text, otherwise)

    def _place(self) -> Place | None:
        site_name, area_name = self._text("site", needed=True), self._text("area", needed=True)
        if not site_name or not area_name:
            return None
        site = self.held.sites.get(site_name.casefold())
        if site is None:
            self.faults["site"] = f"there is no site {site_name!r}{_near(site_name, self.held.site_names)}"
            return None
        if self.held.allowed is not None and site not in self.held.allowed:
            self.faults["site"] = f"you are no member of {site_name}"
            return None
        area = self.held.areas.get((site, area_name.casefold()))
        if area is None:
            names = self.held.area_names.get(site, [])
            self.faults["area"] = f"there is no area {area_name!r} at {site_name}{_near(area_name, names)}"
            return None
        return Place(site, area)

    def _model(self) -> int | ModelWanted | None:
        maker, name = self._text("maker", needed=True), self._text("model", needed=True)
        class_name = self._text("device class")
        device_class = self.held.classes.get(class_name.casefold()) if class_name else None
        if class_name and device_class is None:
            near = _near(class_name, self.held.class_names)
            self.faults["device class"] = f"there is no device class {class_name!r}{near}"
            return None
        if not maker or not name:
            return None
        found = self.held.models.get((maker.casefold(), name.casefold()))
        if found is None:
            return self._new_model(maker, name, device_class)
        if device_class is not None and found.device_class != device_class:
            self.faults["device class"] = f"the record has {maker} {name} in another class"
        return found.model

    def _new_model(self, maker: str, name: str, device_class: int | None) -> ModelWanted | None:
        if device_class is None:
            near = _near(name, [each for of, each in self.held.model_names if of == maker.casefold()])
            self.faults["model"] = (
                f"the record does not know {maker} {name}{near}; with a device class and what it runs on it is added"
            )
            return None
        sources = frozenset(part.strip().casefold() for part in re.split(r"[+,/]| and ", self._text("runs on")) if part)
        if not sources or not sources <= set(EnergySource):
            there = ", ".join(EnergySource)
            self.faults["runs on"] = f"{maker} {name} is new: say what it runs on, of {there}, with + between"
            return None
        return ModelWanted(maker, name, device_class, frozenset(EnergySource(source) for source in sources))

    def _revision(self, model: int | ModelWanted | None) -> int | None:
        label = self._text("revision")
        if not label or model is None:
            return None
        found = self.held.revisions.get((model, label.casefold())) if isinstance(model, int) else None
        if found is None:
            self.faults["revision"] = f"the model has no revision {label!r} in the record"
        return found

    def _last_done(self) -> dict[int, dt.date]:
        found = {}
        for name, at in self.heading.procedures.items():
            cell = self.line.cells[at] if at < len(self.line.cells) else Cell("")
            procedure = self.held.procedures.get(name.casefold())
            column = f"last done: {name}"
            if procedure is None:
                self.faults[column] = f"there is no procedure {name!r}{_near(name, self.held.procedure_names)}"
                continue
            done_on = self._day(column, cell)
            if done_on is not None:
                found[procedure] = done_on
        return found

    def _day(self, column: str, cell: Cell) -> dt.date | None:
        if cell.fault:
            self.faults[column] = cell.fault
            return None
        if not cell.text:
            return None
        day = cell.day or self._read_day(column, cell)
        if day is None:
            return None
        if day > self.today:
            self.faults[column] = f"{day} has not come yet"
        elif day.year < _FIRST_YEAR:
            self.faults[column] = f"{day} is before {_FIRST_YEAR}"
        return day

    def _read_day(self, column: str, cell: Cell) -> dt.date | None:
        if cell.is_number:
            self.faults[column] = f"the number {cell.text} is no date: give the cell the form of a date"
            return None
        if iso := _ISO.fullmatch(cell.text):
            year, month, day = map(int, iso.groups())
        elif other := _OTHER.fullmatch(cell.text):
            if self.order is None:
                self.faults[column] = f"{cell.text!r} could be read in two ways: write 2026-10-31, or say --date-order"
                return None
            one, two, year = map(int, other.groups())
            day, month = (one, two) if self.order is DateOrder.DAY_FIRST else (two, one)
        else:
            self.faults[column] = f"{cell.text!r} is no date; write it as 2026-10-31"
            return None
        try:
            return dt.date(year, month, day)
        except ValueError:
            how = f", read {self.order}" if self.order and not _ISO.fullmatch(cell.text) else ""
            self.faults[column] = f"{cell.text!r} is no day of the calendar{how}"
            return None


def check_order(line: Line, heading: Heading, order: DateOrder | None) -> None:
    """A column whose days are written in two orders is not guessed at. Raises MixedDates."""
    if order is None:
        return
    places = {"known from": heading.places.get("known from")} | {
        f"last done: {name}": at for name, at in heading.procedures.items()
    }
    for column, at in places.items():
        text = line.cells[at].text if at is not None and at < len(line.cells) else ""
        found = _OTHER.fullmatch(text)
        one, two = (int(found[1]), int(found[2])) if found else (1, 1)
        day, month = (one, two) if order is DateOrder.DAY_FIRST else (two, one)
        if month > _MONTHS >= day:
            raise MixedDates(
                f"Line {line.number}, {column}: {text!r} is not written {order}, so the column is not, or not "
                "throughout. Nothing was written: write the days as 2026-10-31."
            )


def _near(name: str, names: list[str]) -> str:
    """What may have been meant."""
    by_plain = {each.casefold(): each for each in names}
    found = get_close_matches(name.casefold(), by_plain, n=2)
    return f"; did you mean {' or '.join(by_plain[each] for each in found)}?" if found else ""
