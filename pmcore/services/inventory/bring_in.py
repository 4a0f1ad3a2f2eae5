"""An inventory is brought in: each good line one device and one entry, at most 500 lines or 2,000 rows at a time.

What is there already with the same values is left alone; with other values it is named and not changed.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import islice
from types import MappingProxyType

from pmcore.engines.records import Actor
from pmcore.models import CarriedOver
from pmcore.models.rows import Row
from pmcore.queries.columns import BadValue
from pmcore.queries.inventory_held import InventoryHeld, ModelHeld, inventory_held
from pmcore.services.append import Draft, append_in_batches
from pmcore.services.catalogue import register_model
from pmcore.services.devices import Arrival, opening_rows
from pmcore.services.inventory.checked import DateOrder, DeviceLine, LineChecker, ModelWanted
from pmcore.services.inventory.columns import Heading
from pmcore.services.inventory.files import Line
from pmcore.services.permissions import check_role
from pmcore.services.values import check_values

LINES_AT_ONCE = 500
_IN_A_DRY_RUN = 10**15  # stands for the id of a model that is not registered

Progress = Callable[[int], None]


class Outcome(StrEnum):
    ADDED = "added"
    THERE = "already there"
    DIFFERS = "differs from the record"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class LineReport:
    """`faults`: a reason by column."""

    number: int
    outcome: Outcome
    faults: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Report:
    """How many lines came to what, and every line that was not taken as it stands, in their order; the models that
    were added, by maker and name."""

    counts: Mapping[Outcome, int]
    lines: tuple[LineReport, ...]
    models: tuple[str, ...]

    @property
    def is_whole(self) -> bool:
        """Every line is in the record as it stands in the file."""
        return not self.counts[Outcome.REFUSED] and not self.counts[Outcome.DIFFERS]


def bring_in(
    lines: Iterable[Line],
    heading: Heading,
    *,
    today: dt.date,
    order: DateOrder | None,
    actor: Actor,
    at: dt.datetime,
    dry_run: bool,
    progress: Progress = lambda done: None,
) -> Report:
    """Check every line, and without `dry_run` write those that are good. Raises NotAllowed, and UnreadableFile from
    the lines; what was written before stays."""
    check_role(actor, "register a device")
    bringing = _Bringing(inventory_held(on=today, actor=actor), heading, today, order, actor, at, dry_run)
    source, done = iter(lines), 0
    while chunk := list(islice(source, LINES_AT_ONCE)):
        bringing.take(chunk)
        done += len(chunk)
        progress(done)
    return bringing.report()


@dataclass
class _Bringing:
    held: InventoryHeld
    heading: Heading
    today: dt.date
    order: DateOrder | None
    actor: Actor
    at: dt.datetime
    dry_run: bool
    counts: dict[Outcome, int] = field(default_factory=lambda: dict.fromkeys(Outcome, 0))
    named: list[LineReport] = field(default_factory=list)
    models: list[str] = field(default_factory=list)
    seen: dict[tuple[str, ...], int] = field(default_factory=dict)  # devices and tags of this file, to their lines

    def report(self) -> Report:
        lines = sorted(self.named, key=lambda line: line.number)
        return Report(MappingProxyType(self.counts), tuple(lines), tuple(self.models))

    def _note(self, number: int, outcome: Outcome, faults: dict[str, str] | None = None) -> None:
        self.counts[outcome] += 1
        if faults:
            self.named.append(LineReport(number, outcome, MappingProxyType(faults)))

    def take(self, lines: list[Line]) -> None:
        good = [device for line in lines if not line.is_empty and (device := self._checked(line)) is not None]
        ready = [each for device in good if (each := self._with_model(device)) is not None]
        if not self.dry_run:
            self._write(ready)
        for device in ready:
            self._note(device.number, Outcome.ADDED)

    def _checked(self, line: Line) -> DeviceLine | None:
        """The device of a good line that is new; everything else is noted."""
        checker = LineChecker(self.heading, self.held, self.today, self.order, line)
        device = checker.device()
        if device is not None:
            device = self._once(device, checker.faults)
        if device is None or checker.faults:
            self._note(line.number, Outcome.REFUSED, checker.faults)
            return None
        return self._new(device)

    def _once(self, device: DeviceLine, faults: dict[str, str]) -> DeviceLine:
        """Within the file: a serial number of a model, and a tag, stand on one line."""
        named: dict[str, tuple[str, ...]] = {"serial number": (*device.maker_and_name, device.serial.casefold())}
        if device.tag:
            named["tag"] = (device.tag.casefold(),)
        for column, key in named.items():
            before = self.seen.setdefault(key, device.number)
            if before != device.number:
                faults[column] = f"line {before} has the same"
        return device

    def _new(self, device: DeviceLine) -> DeviceLine | None:
        there = self._there(device)
        holder = self.held.tags.get(device.tag.casefold()) if device.tag else None
        if there is None and holder is not None:
            self._note(device.number, Outcome.REFUSED, {"tag": f"another device carries {device.tag}"})
        elif there is None:
            return device
        elif differs := self._differences(device, there):
            self._note(device.number, Outcome.DIFFERS, differs)
        else:
            self._note(device.number, Outcome.THERE)
        return None

    def _differences(self, device: DeviceLine, there: int) -> dict[str, str]:
        """By column, of what the line says: what the record has in its place."""
        said, found = self.held.said[there], {}
        if device.tag and self.held.tags.get(device.tag.casefold()) != there:
            found["tag"] = f"the device is in the record without the tag {device.tag}"
        if said.area != device.place.area:
            found["area"] = "the record has it in another area"
        for column, ours, theirs in (
            ("revision", said.revision, device.revision),
            ("ownership", said.ownership, device.ownership),
            ("known from", said.known_from_on, device.known_from_on),
            ("in use", said.found_in_use, device.found_in_use),
        ):
            if column in device.given and ours != theirs:
                found[column] = f"the record has {'nothing' if ours is None else ours}"
        for procedure, done_on in device.last_done.items():
            if said.last_done.get(procedure) != done_on:
                found["last done"] = f"the record has {said.last_done.get(procedure) or 'nothing'}"
        return found

    def _there(self, device: DeviceLine) -> int | None:
        return (
            self.held.devices.get((device.model, device.serial.casefold())) if isinstance(device.model, int) else None
        )

    def _with_model(self, device: DeviceLine) -> DeviceLine | None:
        """Its model registered where it is new; the values taken as the record will take them."""
        try:
            wanted = device.model
            if isinstance(wanted, ModelWanted):
                check_values(*self._rows(replace(device, model=_IN_A_DRY_RUN)))
                return replace(device, model=self._register(wanted))
            check_values(*self._rows(device))
        except BadValue as bad:
            self._note(device.number, Outcome.REFUSED, {_column_of(bad.column): bad.fault})
            return None
        return device

    def _register(self, wanted: ModelWanted) -> int:
        known = self.held.models.get((wanted.maker.casefold(), wanted.name.casefold()))
        if known is not None:
            return known.model
        name = f"{wanted.maker} {wanted.name}"
        model = _IN_A_DRY_RUN + len(self.models)
        if not self.dry_run:
            model = register_model(
                maker=wanted.maker, name=wanted.name, device_class=wanted.device_class,
                energy_sources=wanted.runs_on, from_on=self.today, actor=self.actor, at=self.at,
            ).subject  # fmt: skip
        self.models.append(name)
        self.held.add_model(wanted.maker, wanted.name, ModelHeld(model, wanted.device_class))
        return model

    def _write(self, devices: list[DeviceLine]) -> None:
        for _ in append_in_batches(self._drafts(devices), actor=self.actor, at=self.at):
            pass

    def _drafts(self, devices: list[DeviceLine]) -> Iterator[Draft]:
        for device in devices:
            rows = self._rows(device)
            yield Draft("device_registered", rows[0], rows)

    def _rows(self, device: DeviceLine) -> list[Row]:
        assert isinstance(device.model, int)
        arrival = Arrival(device.place.area, device.known_from_on, device.ownership, tag=device.tag)
        rows = opening_rows(
            device.model, device.serial, arrival, revision=device.revision, found_in_use=device.found_in_use
        )
        carried = [
            Row(CarriedOver, device=rows[0], procedure=procedure, performed_on=done_on)
            for procedure, done_on in device.last_done.items()
        ]
        return [*rows, *carried]


def _column_of(column: str) -> str:
    return {"serial": "serial number", "name": "model"}.get(column, column)
