"""Two figures that differ are explained: which due inspections count otherwise, and the entries that make it so."""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from pmcore.engines.compliance import COUNTED, counted_on
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Counted
from pmcore.models import Device, Entry
from pmcore.queries.asked import check_asked, check_known, sites_allowed
from pmcore.queries.compliance import ComplianceFilter, chosen_in_period
from pmcore.queries.device_labels import DeviceLabel, labels_of
from pmcore.queries.read_standings import standings_between
from pmcore.queries.standing_catalogue import catalogue
from pmcore.queries.standing_rows import Standings
from pmcore.queries.standings import standings_of


@dataclass(frozen=True, slots=True)
class EntryNamed:
    seq: int
    at: dt.datetime
    kind: str
    subject: int
    person: int | None


@dataclass(frozen=True, slots=True)
class FigureChange:
    """A due inspection that counts otherwise. None: it was not in the figure, or is not any more. `entries`: each one
    after which it counted otherwise than before, in order."""

    due_inspection: int
    device: DeviceLabel
    was: Counted | None
    becomes: Counted | None
    entries: tuple[EntryNamed, ...]


def figure_changes(
    asked: ComplianceFilter, *, as_of: dt.date, known: int, before: int, today: dt.date, actor: Actor
) -> list[FigureChange]:
    """What makes the figure as known at `known` another than as known at the earlier size `before`, as of one day.

    The standing of each device that differs is computed after every entry that could concern it, so the entries named
    are those that made the difference and no others. Raises AsOfAhead, KnownBeyond, OutsideYourSites.
    """
    check_asked(as_of=as_of, known=known, today=today)
    check_known(before)
    figure = _Figure(asked, sites_allowed(actor, asked.sites), as_of)
    was, becomes = figure.known_at(before), figure.known_at(known)
    differing = sorted(due for due in was.keys() | becomes.keys() if was.get(due) != becomes.get(due))
    devices = {due: (becomes.get(due) or was[due]).device for due in differing}
    labels = labels_of(set(devices.values()), on=as_of, known=known)
    entries: dict[int, list[EntryNamed]] = {}
    for device in set(devices.values()):
        entries |= figure.turning_points(device, before, known)
    return [
        FigureChange(due, labels[devices[due]], _word(was, due), _word(becomes, due), tuple(entries.get(due, ())))
        for due in differing
    ]


class _Count(NamedTuple):
    device: int
    word: Counted


_Counts = dict[int, _Count]


def _word(counts: _Counts, due: int) -> Counted | None:
    return counts[due].word if due in counts else None


@dataclass(frozen=True, slots=True)
class _Figure:
    """What each due inspection of a figure counts as, by its id."""

    asked: ComplianceFilter
    sites: frozenset[int] | None
    as_of: dt.date

    def known_at(self, size: int) -> _Counts:
        asked, facts = self.asked, catalogue(size)
        return self._counted(standings_between(asked.starts_on, asked.ends_on, as_of=self.as_of, catalogue=facts))

    def turning_points(self, device: int, before: int, known: int) -> dict[int, list[EntryNamed]]:
        """Of each due inspection of the device the entries after which it counted otherwise."""
        found: dict[int, list[EntryNamed]] = {}
        was = self._of_device(device, before)
        for entry in _candidates(device, before, known):
            becomes = self._of_device(device, entry.seq)
            for due in was.keys() | becomes.keys():
                if was.get(due) != becomes.get(due):
                    found.setdefault(due, []).append(entry)
            was = becomes
        return found

    def _of_device(self, device: int, size: int) -> _Counts:
        return self._counted(Standings.of_rows(list(standings_of([device], catalogue(size)))))

    def _counted(self, read: Standings) -> _Counts:
        standings = chosen_in_period(read, self.asked, self.sites)
        words = [COUNTED[code] for code in counted_on(standings, self.as_of)]
        counts = map(_Count, standings.device.tolist(), words)
        return dict(zip(standings.due_inspection.tolist(), counts, strict=True))


def _candidates(device: int, before: int, known: int) -> Iterator[EntryNamed]:
    """What was written since about the device itself, or about no device: a plan, a procedure, a meter, a site."""
    since = Entry.objects.filter(seq__gt=before, seq__lte=known)
    others = since.exclude(subject__in=Device.objects.values("pk"))
    rows = (since.filter(subject=device) | others).order_by("seq")
    columns: Sequence[str] = ("seq", "at", "kind", "subject", "person")
    for row in rows.values_list(*columns):
        yield EntryNamed(*row)
