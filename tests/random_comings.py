"""What comes to a random world and goes from it: ours lent out, loans, swaps. Done by the services themselves; what
they refuse does not happen."""

import datetime as dt
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from typing import Any

from pmcore import models
from pmcore.engines.records import SYSTEM
from pmcore.engines.vocabulary import OwnershipKind
from pmcore.services.departures import return_device, swap_device
from pmcore.services.loans import lend_device, receive_back, receive_device, set_ownership
from pmcore.services.refusals import RecordRefused
from tests.random_worlds import Deed, World, device_of, moment, on_day

_NOT_OURS = (OwnershipKind.ON_LOAN, OwnershipKind.RENTED, OwnershipKind.ON_TRIAL)


def _said(deed: Deed) -> dict[str, Any]:
    return {"from_on": on_day(deed.on), "actor": SYSTEM, "at": moment(deed.recorded, (12, 21)[deed.pick % 2])}


def _goes_back(deed: Deed) -> dt.date | None:
    """After less than any interval, after more than any, or nobody knows when."""
    stay = (20, 60, 200, 500, None)[deed.pick // 7 % 5]
    return None if stay is None else on_day(deed.on + stay)


def lend(world: World, deed: Deed) -> None:
    """And back again, most times."""
    with suppress(RecordRefused):
        lend_device(device=device_of(world, deed), borrower="A hospital nearby", **_said(deed))
        if deed.pick // 2 % 3:
            take_back_home(world, replace(deed, on=deed.on + (10, 90, 300)[deed.pick // 6 % 3]))


def take_back_home(world: World, deed: Deed) -> None:
    with suppress(RecordRefused):
        receive_back(device=device_of(world, deed), **_said(deed))


def receive(world: World, deed: Deed) -> None:
    """A device that is not ours: one that was never here, or one that left. Some go back."""
    serial = f"L-{len(world.devices)}"
    if deed.pick // 2 % 2:
        serial = models.DeviceIdentity.objects.current().get(device=device_of(world, deed)).serial
    with suppress(RecordRefused):
        receipt = receive_device(
            device_model=world.base.models[0], serial=serial, kind=_NOT_OURS[deed.pick // 4 % 3],
            area=world.base.areas[deed.pick // 12 % 2], until_on=_goes_back(deed), **_said(deed),
        )  # fmt: skip
        if receipt.subject not in world.devices:
            world.devices.append(receipt.subject)
        if deed.pick // 24 % 2:
            stay = (15, 80, 300)[deed.pick // 48 % 3]
            return_device(device=receipt.subject, **_said(replace(deed, on=deed.on + stay)))


def change_ownership(world: World, deed: Deed) -> None:
    kind = (OwnershipKind.OWNED, *_NOT_OURS)[deed.pick // 4 % 4]
    until_on = None if kind == OwnershipKind.OWNED else _goes_back(deed)
    with suppress(RecordRefused):
        set_ownership(device=device_of(world, deed), kind=kind, until_on=until_on, **_said(deed))


def give_back(world: World, deed: Deed) -> None:
    with suppress(RecordRefused):
        return_device(device=device_of(world, deed), **_said(deed))


def swap(world: World, deed: Deed) -> None:
    with suppress(RecordRefused):
        receipt = swap_device(device=device_of(world, deed), serial=f"S-{len(world.devices)}", **_said(deed))
        world.devices.append(receipt.subject)


COMINGS: tuple[Callable[[World, Deed], None], ...] = (
    lend, take_back_home, receive, change_ownership, give_back, swap,
)  # fmt: skip
