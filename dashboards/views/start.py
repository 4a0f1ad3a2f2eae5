"""Where everybody comes in."""

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect

from dashboards.access import home_of, look_up
from pmcore.queries.actors import NoActor


@login_required
def start(request: HttpRequest) -> HttpResponseBase:
    """To the first page of one's role."""
    try:
        return redirect(home_of(look_up(request).actor.role))
    except NoActor as refused:
        raise PermissionDenied(str(refused)) from refused


def healthz(request: HttpRequest) -> HttpResponse:
    """That the process answers; it asks nothing of the database."""
    return HttpResponse("ok\n", content_type="text/plain")
