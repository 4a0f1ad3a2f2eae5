"""Exports of the history: what was asked for, how far it is, and the files. Asked for, each is a job; whoever may ask
for what one holds may also see and fetch it."""

import datetime as dt
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.conf import settings

from pmcore.engines.canonical import canonical_bytes
from pmcore.engines.records import Actor
from pmcore.engines.vocabulary import JobState
from pmcore.models import Job, Redaction, Site

KIND = "export_history"
FILES = {"ndjson": "history.ndjson", "csv": "history.csv", "pack": "pack.zip"}
MEDIA_TYPES = {
    "history.ndjson": "application/x-ndjson",
    "history.csv": "text/csv; charset=utf-8",
    "pack.zip": "application/zip",
}
CANCELLED = "It was cancelled."
"""What stands on the job of an export that nobody wants any more."""

_SHOWN = 50


@dataclass(frozen=True, slots=True)
class ExportScope:
    """`known`: of the first so many entries; those whose moments lie on the days (UTC) from `begins_on` to `ends_on`,
    none: without an end; at these `sites` and at no site, none: at all."""

    known: int
    begins_on: dt.date | None
    ends_on: dt.date | None
    sites: tuple[int, ...] | None

    def told(self) -> dict[str, Any]:
        """As the manifest and the job's arguments have it; what is not narrowed is left out."""
        first, last = (None if on is None else on.isoformat() for on in (self.begins_on, self.ends_on))
        sites = None if self.sites is None else list(self.sites)
        said = {"from": first, "to": last, "known": self.known, "sites": sites}
        return {name: value for name, value in said.items() if value is not None}

    @classmethod
    def of(cls, told: dict[str, Any]) -> "ExportScope":
        first, last = (None if (on := told.get(name)) is None else dt.date.fromisoformat(on) for name in ("from", "to"))
        return cls(told["known"], first, last, tuple(told["sites"]) if "sites" in told else None)

    def is_within(self, actor: Actor, opened: dict[int, int]) -> bool:
        """Whether nothing of it is kept from the actor. `opened`: by which entry each site was."""
        there = [site for site, entry in opened.items() if entry <= self.known] if self.sites is None else self.sites
        if actor.sites is not None and not actor.sites.issuperset(there):
            return False
        starts = actor.begins_on is None or (self.begins_on is not None and self.begins_on >= actor.begins_on)
        return starts and (actor.ends_on is None or (self.ends_on is not None and self.ends_on <= actor.ends_on))


@dataclass(frozen=True, slots=True)
class ExportTold:
    """`state`: waiting, running, done or failed; `error`: why it failed. `folder`: where its files are, if it is done;
    `entries`: how many it holds."""

    id: int
    state: str
    progress: str
    error: str
    scope: ExportScope
    asked_at: dt.datetime
    ended_at: dt.datetime | None
    entries: int | None
    sizes: dict[str, int]
    folder: Path


def exports_folder() -> Path:
    return Path(settings.DATA) / "exports"


def newest_redaction() -> int:
    """The newest entry that took words out; an export that was made before it may still hold them."""
    return Redaction.objects.order_by("-pk").values_list("entry", flat=True).first() or 0


def key_of(arguments: dict[str, Any]) -> str:
    """By which the same request is known again."""
    return hashlib.sha256(canonical_bytes(arguments)).hexdigest()


def exports_for(actor: Actor) -> list[ExportTold]:
    """The newest ones that hold nothing kept from the actor, at most 50; three statements."""
    opened, redacted = _opened(), newest_redaction()
    jobs = Job.objects.filter(kind=KIND).order_by("-asked_at", "-pk")[: 4 * _SHOWN]
    return [told for told in (_told(job, redacted) for job in jobs) if told.scope.is_within(actor, opened)][:_SHOWN]


def export_for(export: int, actor: Actor) -> ExportTold | None:
    """None: there is no such export, or it holds what is kept from the actor."""
    job = Job.objects.filter(pk=export, kind=KIND).first()
    told = None if job is None else _told(job, newest_redaction())
    return told if told is not None and told.scope.is_within(actor, _opened()) else None


def file_of(told: ExportTold, name: str) -> Path | None:
    """The path of one of the files, by its name; None while there is none."""
    return told.folder / name if told.state == "done" and name in FILES.values() else None


def _opened() -> dict[int, int]:
    return dict(Site.objects.values_list("pk", "entry"))


def _told(job: Job, redacted: int) -> ExportTold:
    folder, answer = exports_folder() / job.unique_key, job.answer or {}
    state, error = _state(job, folder, redacted)
    sizes = {name: said["bytes"] for name, said in answer.get("files", {}).items()} if state == "done" else {}
    return ExportTold(
        id=job.pk,
        state=state,
        progress=job.progress,
        error=error,
        scope=ExportScope.of(job.arguments),
        asked_at=job.asked_at,
        ended_at=job.ended_at,
        entries=answer.get("entries") if state == "done" else None,
        sizes=sizes,
        folder=folder,
    )


def _state(job: Job, folder: Path, redacted: int) -> tuple[str, str]:
    if job.state == JobState.PARKED:
        return "failed", job.error
    if job.state != JobState.DONE:
        return str(job.state), ""
    if job.arguments["redacted"] != redacted:
        return "failed", "Words were taken out of the record since. Ask again for an export without them."
    if not folder.is_dir():
        return "failed", "Its files are gone. Ask again, and the same ones are made."
    return "done", ""
