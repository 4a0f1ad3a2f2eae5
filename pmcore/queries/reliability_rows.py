"""What a failure rate was computed from, line by line: the failures, and the days in service of each device."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from pmcore.engines.exposure import years
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import FailureKind, Subsystem
from pmcore.queries.device_labels import DeviceLabel, labels_of
from pmcore.queries.reliability import observe
from pmcore.queries.reliability_filter import ReliabilityFilter
from pmcore.queries.reliability_names import Names, names_known
from pmcore.queries.reliability_scope import KINDS, SUBSYSTEMS, Observed, Strata


@dataclass(frozen=True, slots=True)
class Where:
    """Names of what a device was and where it stood; empty where nobody said."""

    device: DeviceLabel
    device_class: str
    revision: str
    site: str
    area: str


@dataclass(frozen=True, slots=True)
class FailureRow:
    """A failure that counts, with what it was on the day of its discovery; `finding`: its first."""

    where: Where
    finding: int
    discovered_on: dt.date
    subsystem: Subsystem
    kind: FailureKind


@dataclass(frozen=True, slots=True)
class ExposureRow:
    """Days in service of one device as one revision in one area, and the first of them."""

    where: Where
    first_on: dt.date
    days: int
    years: float


@dataclass(frozen=True, slots=True)
class Inputs:
    failures: tuple[FailureRow, ...]
    exposure: tuple[ExposureRow, ...]


def reliability_inputs(asked: ReliabilityFilter, *, as_of: dt.date, known: int, today: dt.date, actor: Actor) -> Inputs:
    """Failures in order of their days, exposure in order of devices; a fixed number of statements. Raises AsOfAhead,
    KnownBeyond, OutsideYourSites."""
    seen = observe(asked, as_of=as_of, known=known, today=today, actor=actor)
    devices = set(seen.exposure.device.tolist()) | set(seen.failures.device.tolist())
    tell = _Tell(names_known(known), labels_of(devices, on=as_of, known=known))
    return Inputs(tuple(_failures(seen, tell)), tuple(_exposure(seen, tell)))


class _Tell:
    def __init__(self, names: Names, labels: dict[int, DeviceLabel]) -> None:
        self._names, self._labels = names, labels

    def where(self, strata: Strata, at: int) -> Where:
        site, area = self._names.areas.get(int(strata.area[at]), ("", ""))
        return Where(
            device=self._labels[int(strata.device[at])],
            device_class=self._names.classes.get(int(strata.device_class[at]), ""),
            revision=self._names.labels.get(int(strata.revision[at]), ""),
            site=site,
            area=area,
        )


def _failures(seen: Observed, tell: _Tell) -> list[FailureRow]:
    failed = seen.failures
    return [
        FailureRow(
            tell.where(failed, at), int(failed.finding[at]), _day(failed.discovered_on[at]),
            SUBSYSTEMS[failed.subsystem[at]], KINDS[failed.kind[at]],
        )
        for at in np.lexsort((failed.finding, failed.discovered_on)).tolist()
    ]  # fmt: skip


def _exposure(seen: Observed, tell: _Tell) -> list[ExposureRow]:
    exposed = seen.exposure
    table = np.stack([exposed.device, exposed.revision, exposed.area], 1)
    _, first, place = np.unique(table, axis=0, return_index=True, return_inverse=True)
    days = np.bincount(place.ravel(), weights=exposed.days, minlength=len(first)).astype(np.int64)
    return [
        ExposureRow(tell.where(exposed, at), _day(exposed.from_on[at]), int(count), float(years(count)))
        for at, count in zip(first.tolist(), days.tolist(), strict=True)
    ]


def _day(number: int) -> dt.date:
    return dt.date(1970, 1, 1) + dt.timedelta(days=int(number))
