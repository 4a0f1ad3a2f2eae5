"""What came due while a device was put away."""

import datetime as dt

from pmcore.engines.vocabulary import ServiceStateKind
from pmcore.models import DueInspection, ServiceState, Withdrawal
from pmcore.queries.inspections import completed
from pmcore.queries.procedures import Covering


def undone_in_storage(device: int, on: dt.date, known: int) -> list[int]:
    """The due inspections whose window opened in the days of storage before `on` and that nobody has done since it
    opened; whether sealed or not. In order of due dates."""
    since = _stored_since(device, on, known)
    if since is None:
        return []
    withdrawn = Withdrawal.objects.known(known).on(on).filter(withdrawn=True).values("due_inspection")
    rows = DueInspection.objects.known(known).filter(device=device, opens_on__gt=since, opens_on__lte=on)
    opened = list(rows.exclude(pk__in=withdrawn).order_by("due_on").values_list("id", "procedure_id", "opens_on"))
    if not opened:
        return []
    covering = Covering(known)
    done = completed([device], known)
    return [
        due
        for due, procedure, opens_on in opened
        if not any(opens_on <= each.performed_on <= on and covering.does(each, procedure) for each in done)
    ]


def _stored_since(device: int, on: dt.date, known: int) -> dt.date | None:
    """The first day of the storage that lasted until `on`: seals may have changed in it."""
    since = None
    rows = ServiceState.objects.known(known).filter(device=device, from_on__lt=on).order_by("-from_on")
    for state, from_on in rows.values_list("state", "from_on"):
        if state != ServiceStateKind.STORED:
            break
        since = from_on
    return since
