"""How a device that is held comes back into use: repaired, then released."""

import datetime as dt
from collections.abc import Callable

from pmcore.models import Release, ReleasedHold, ReleaseStatement, Repair, RepairDetails, RepairedFinding
from pmcore.models.rows import Row
from pmcore.services.demo.diary import RELEASES, REPAIRS, Diary, moment
from pmcore.services.demo.world import World, written
from pmcore.services.preparation import Draft


def note_repair(
    world: World,
    diary: Diary,
    *,
    number: int,
    finding: Row,
    on: dt.date,
    account: str,
    technician: str | None = None,
    provider: str | None = None,
    fits: Callable[[int, Row], list[Row]] | None = None,
) -> None:
    """Somebody repairs what was found, on one day, on the machine of that number. `fits`: the rows of the parts that
    are fitted, given the device and the repair."""

    def draft() -> Draft:
        device = written(world.devices[number])
        repair = Row(Repair, device=device)
        details = Row(
            RepairDetails,
            repair=repair,
            started_at=moment(on, 9),
            ended_at=moment(on, 11),
            performed_on=on,
            person=None if technician is None else world.person(technician),
            provider=None if provider is None else world.providers[provider],
            account=account,
        )
        mended = Row(RepairedFinding, details=details, finding=written(finding))
        fitted = [] if fits is None else fits(device, repair)
        return Draft("repair_done", device, [repair, details, mended, *fitted])

    diary.note(on, REPAIRS, world.people[technician or "manager"], draft)


def note_release(world: World, diary: Diary, *, number: int, hold: Row, on: dt.date) -> None:
    """The manager signs that the device may be used again."""
    manager = world.people["manager"]

    def draft() -> Draft:
        device = written(world.devices[number])
        release = Row(Release, device=device)
        statement = Row(
            ReleaseStatement, release=release, signed_at=moment(on, RELEASES), signed_on=on, signed_by=manager.person
        )
        lifted = Row(ReleasedHold, statement=statement, hold=written(hold))
        return Draft("release_signed", device, [release, statement, lifted])

    diary.note(on, RELEASES, manager, draft)
