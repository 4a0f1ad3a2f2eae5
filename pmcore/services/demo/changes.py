"""What a scene changes in the ordinary run of things, due inspection by due inspection."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace

from pmcore.engines.vocabulary import AttemptOutcome, ReasonCode
from pmcore.services.demo.fleet import VisitKey


class ScenesCollide(ValueError):
    """Two scenes say different things of one due inspection."""


@dataclass(frozen=True, slots=True)
class Change:
    """None: as it was drawn. `done`: inside the window, or not at all, after `tried`. `values`: readings by step;
    `fails`: the step that fails, with `values` saying how."""

    done: bool | None = None
    tried: tuple[tuple[dt.date, AttemptOutcome], ...] | None = None
    reason: ReasonCode | None = None
    recorded_on: dt.date | None = None
    technician: str | None = None
    instrument: str | None = None
    fails: str | None = None
    values: Mapping[str, str] = field(default_factory=dict)


Changes = dict[VisitKey, Change]


def together(changes: Iterable[Mapping[VisitKey, Change]]) -> Changes:
    """The changes of all scenes. Raises ScenesCollide."""
    found: Changes = {}
    for each in changes:
        for key, change in each.items():
            found[key] = _both(found[key], change, key) if key in found else change
    return found


def _both(one: Change, other: Change, key: VisitKey) -> Change:
    said = {each.name: getattr(other, each.name) for each in fields(Change) if getattr(other, each.name)}
    if other.done is not None:
        said["done"] = other.done
    for name, value in said.items():
        before = getattr(one, name)
        if before not in (None, {}, value):
            raise ScenesCollide(f"Two scenes change `{name}` of {key}: {before!r}, {value!r}.")
    return replace(one, **said)
