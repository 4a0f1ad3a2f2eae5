"""Turns in a device's life and people in other roles, for tests that need them and are about something else."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import Departure, Role
from pmcore.services.departures import leave_inventory
from tests.cast import AT, Hospital


def gone(hospital: Hospital, from_on: dt.date, device: int | None = None) -> None:
    """The device has left, scrapped."""
    leave_inventory(
        device=device or hospital.device, departure=Departure.SCRAPPED, from_on=from_on, actor=hospital.odile, at=AT
    )


def in_role(actor: Actor, role: Role) -> Actor:
    return Actor(actor.person, role, actor.sites)
