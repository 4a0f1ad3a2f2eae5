"""A person says that they know of what they were told. Who knew what, and when, is a fact of the record."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.models import Alert, AlertAcknowledgement
from pmcore.models.rows import Row
from pmcore.queries.alerts import told_alerts
from pmcore.queries.head import head
from pmcore.queries.site_days import Zones
from pmcore.services.append import append
from pmcore.services.permissions import use_case
from pmcore.services.refusals import RecordRefused
from pmcore.services.requests import Receipt, Request

KIND = "alert_acknowledged"


class NotTold(RecordRefused):
    """The person was not told of such an alert."""


class AcknowledgedBefore(RecordRefused):
    """The person said so before."""


@use_case("acknowledge an alert", KIND)
def acknowledge(
    *, alert: int, actor: Actor, at: dt.datetime, note: str | None = None, request: Request | None = None
) -> Receipt:
    """The actor knows of the matter, at every step at which they were told of it so far. What is left undone climbs on
    to the next step all the same.

    Raises NotTold, AcknowledgedBefore, NotAllowed.
    """
    told = told_alerts(actor.person, alert) if actor.person is not None else []
    if not told:
        raise NotTold("You were told of no such alert.")
    keys = {each.unique_key: each for each in told}
    said = AlertAcknowledgement.objects.current().filter(person=actor.person, alert_key__in=keys)
    left = [keys[key] for key in sorted(keys.keys() - set(said.values_list("alert_key", flat=True)))]
    if not left:
        raise AcknowledgedBefore("You said before that you know of this.")
    rows = [_row(each, actor, at, note) for each in left]
    return append(KIND, _thing(left[0]), rows, actor=actor, at=at, request=request)


def _thing(alert: Alert) -> int:
    """The device, or where there is none the test instrument."""
    return alert.about if alert.device is None else alert.device


def _row(alert: Alert, actor: Actor, at: dt.datetime, note: str | None) -> Row:
    on = Zones(head().size).day_at(alert.site, at) or at.date()
    return Row(
        AlertAcknowledgement, thing=_thing(alert), alert_key=alert.unique_key, rule=alert.rule, days=alert.days,
        person=actor.person, acknowledged_at=at, acknowledged_on=on, note=note or None,
    )  # fmt: skip
