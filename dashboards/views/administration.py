"""Administration: whether everything runs, what stands still and why, and jobs that are tried again."""

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from dashboards import administration_words as say
from dashboards.access import asking, page
from pmcore.queries.administration import administration
from pmcore.queries.job_list import OPEN_ROWS, JobTold
from pmcore.services.retry_job import NoLongerParked, NoSuchJob, NotWanted, retry_job

_FAULTY_FORM = "That did not say which state of the job you saw. Look at it as it is now, and send it again."


@page("administration")
def show(request: HttpRequest) -> HttpResponse:
    return _shown(request)


@page("administration")
@require_POST
def retry(request: HttpRequest, job: int) -> HttpResponse:
    """A parked job is tried again."""
    found, parked_at = asking(request), _moment(request.POST.get("parked_at", ""))
    if parked_at is None:
        return _shown(request, _FAULTY_FORM)
    try:
        retry_job(job=job, parked_at=parked_at, actor=found.actor, at=found.at)
    except NoSuchJob as missing:
        raise Http404 from missing
    except NoLongerParked as late:
        messages.info(request, str(late))
    except NotWanted as refused:
        return _shown(request, str(refused))
    else:
        messages.success(request, "It waits for a worker again, with all its attempts before it.")
    return redirect("administration")


def _moment(sent: str) -> dt.datetime | None:
    try:
        found = dt.datetime.fromisoformat(sent)
        return found.astimezone(dt.UTC) if found.tzinfo is not None else None
    except (ValueError, OverflowError):  # at the edges of the calendar there is no such moment in UTC
        return None


def _shown(request: HttpRequest, wrong: str = "") -> HttpResponse:
    """`wrong`: why a job was not tried again."""
    found = asking(request)
    told = administration(at=found.at)
    names = {site.site: site.name for site in found.sites}
    jobs = told.jobs
    unlisted = jobs.waiting + jobs.running + jobs.parked - len(jobs.open)
    context = {
        "told": told,
        "headline": say.headline(told, found.at),
        "counted": say.jobs_counted(told),
        "open_jobs": [_job(job, names) for job in jobs.open],
        "unlisted": max(unlisted, 0) if len(jobs.open) == OPEN_ROWS else 0,
        "ended_jobs": [_job(job, names) for job in jobs.ended],
        "at_work": bool(jobs.waiting or jobs.running),
        "wrong": wrong,
        "sites": [(site, say.swept(site.due_on, site), say.swept(site.alerts_on, site)) for site in told.sites],
        "readers": [(say.reader_name(each), say.how_far(each, found.at)) for each in told.readers],
        "record_lines": say.record_lines(told.record),
    }
    return render(request, "dashboards/administration.html", context, status=400 if wrong else 200)


def _job(job: JobTold, names: dict[int, str]) -> dict[str, Any]:
    word, line = say.state_of(job)
    return {
        "job": job,
        "kind": say.kind_of(job),
        "about": say.about(job, names),
        "asked": f"{say.moment(job.asked_at)}, by {job.asked_by or 'the system'}",
        "ended": "" if job.ended_at is None else say.moment(job.ended_at),
        "state": word,
        "line": line,
        "said": say.said_of(job),
    }
