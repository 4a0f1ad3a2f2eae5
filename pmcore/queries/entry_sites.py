"""At which sites an entry of the history is, for an export that is narrowed to sites.

An entry about a site, or about something that belongs to one, is at that site. One about a device is where the device
stood on the day of the entry as that was known then, before the entry and after it, and where the entry says that it
stands from a day on: a move is at both sites. What is at no site (people, classes, procedures, plans, settings, a
device that never stood anywhere) is in every export. No later correction moves an entry: exports that were made at
different sizes of the history agree.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

from pmcore.models import Area, Device, Site
from pmcore.models.base import Thing
from pmcore.models.kinds import KINDS, THINGS
from pmcore.queries.ahead import Ahead
from pmcore.queries.raw import EntryRow, placements

_OF_A_DEVICE, _OF_A_SITE = (
    [model for model in THINGS if column in {field.name for field in model._meta.concrete_fields}]
    for column in ("device", "site")
)


class _Placed(NamedTuple):
    """`id`: the entry that said so; `row`: the placement's own id, by which the last said of one day counts."""

    id: int
    row: int
    replaced_by: int | None
    device: int
    area: int
    from_on: str


class EntrySites:
    """Asked of every entry in order, once each. Remembers every placement that was written so far."""

    def __init__(self) -> None:
        self._areas = dict(Area.objects.values_list("pk", "site_id"))
        self._coming = Ahead(_placed())
        self._placed: dict[int, list[_Placed]] = {}

    def of(self, entry: EntryRow) -> set[int]:
        """The sites; none: it is at no site."""
        new = list(self._coming.upto(entry.seq))
        device, site = self._about(entry)
        found = {site} if site is not None else set()
        if device is not None:
            found |= self._standing(device, entry.seq - 1, entry.at[:10])
        for each in new:
            self._placed.setdefault(each.device, []).append(each)
            found.add(self._areas[each.area])
        if device is not None:
            found |= self._standing(device, entry.seq, entry.at[:10])
        return found

    def _standing(self, device: int, seq: int, on: str) -> set[int]:
        """Where it stood on the day as the first `seq` entries say; before it stood anywhere, where it stood first."""
        known = [each for each in self._placed.get(device, ()) if each.replaced_by is None or each.replaced_by > seq]
        if not known:
            return set()
        begun = [each for each in known if each.from_on <= on]
        order = [(each.from_on, each.row, each.area) for each in begun or known]
        return {self._areas[(max(order) if begun else min(order))[2]]}

    def _about(self, entry: EntryRow) -> tuple[int | None, int | None]:
        """The device and the site that the subject is, or belongs to."""
        model = KINDS[entry.kind].subject if entry.kind in KINDS else None
        if model is Device:
            return entry.subject, None
        if model is Site:
            return None, entry.subject
        if model is None:
            return _looked_up(entry.subject)
        return None, _belongs(model, "site", entry.subject) if model in _OF_A_SITE else None


def _looked_up(subject: int) -> tuple[int | None, int | None]:
    """Of a thing of which only the id is known."""
    if Device.objects.filter(pk=subject).exists():
        return subject, None
    if Site.objects.filter(pk=subject).exists():
        return None, subject
    for model in _OF_A_DEVICE:
        if (device := _belongs(model, "device", subject)) is not None:
            return device, None
    sites = (_belongs(model, "site", subject) for model in _OF_A_SITE)
    return None, next((site for site in sites if site is not None), None)


def _belongs(model: type[Thing], column: str, subject: int) -> int | None:
    return model.objects.filter(pk=subject).values_list(f"{column}_id", flat=True).first()


def _placed() -> Iterator[Any]:
    for row, entry, replaced_by, device, area, from_on in placements():
        yield _Placed(entry, row, replaced_by, device, area, from_on)
