"""Asking for a verification of the whole record."""

import datetime as dt

from pmcore.engines.records import Actor
from pmcore.queries.head import head
from pmcore.queries.history_page import VERIFICATION
from pmcore.services import jobs
from pmcore.services.permissions import check_role


def ask_verification(*, actor: Actor, at: dt.datetime) -> int:
    """The id of the job: one that has not ended yet, or a new beginning. Raises NotAllowed, RecordDamaged."""
    check_role(actor, "verify the record")
    job = jobs.ask(kind=VERIFICATION, unique_key=f"of {head().size} entries", arguments={}, actor=actor, at=at)
    jobs.begin_anew(job=job, at=at)
    return job
