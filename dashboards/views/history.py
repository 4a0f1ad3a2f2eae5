"""History: how long the record is, whether it was verified, its signed heads, and exports to be checked elsewhere."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from dashboards.access import Asking, asking, page
from dashboards.compliance_asking import given
from dashboards.history_words import STATES, headline, how_far, scope_in_words, second_line, size_in_words
from dashboards.typed import SAID, typed_before
from pmcore.queries.asked import AskedRefused, BadPeriod, KnownBeyond, OutsideYourSites
from pmcore.queries.exports import FILES, ExportTold, export_for
from pmcore.queries.head import RecordDamaged
from pmcore.queries.history_page import history_page
from pmcore.queries.parameters import BadParameters, Parameters, a_day, a_number
from pmcore.services.exports import NothingToExport, ask_export, cancel_export
from pmcore.services.verifications import ask_verification

_ASKED = ("from", "to", "site", "known")
_FIELD = {BadPeriod: "to", KnownBeyond: "known", NothingToExport: "known", OutsideYourSites: "site"}
_SAY = {"ndjson": "The exact bytes", "csv": "A table", "pack": "The pack to verify"}


@page("history")
def show(request: HttpRequest) -> HttpResponse:
    """The page; sent as a form, it asks for an export."""
    sent, errors = typed_before(request), {}
    if sent is not None:
        errors = {"form": SAID}
    elif request.method == "POST":
        sent = request.POST
        try:
            ask_export(**_asked(sent), actor=asking(request).actor, at=asking(request).at)
            messages.success(request, "Asked for. A worker makes it; its files stand below as soon as it is done.")
            return redirect("history")
        except BadParameters as bad:
            errors = bad.errors
        except AskedRefused as refused:
            errors = {_FIELD.get(type(refused), "form"): str(refused)}
    context = _context(asking(request), sent or QueryDict(), errors)
    return render(request, "dashboards/history.html", context, status=400 if request.method == "POST" else 200)


@page("history")
@require_POST
def cancel(request: HttpRequest, export: int) -> HttpResponse:
    """Gives one up."""
    found = asking(request)
    if export_for(export, found.actor) is None:
        raise Http404
    cancel_export(export=export, actor=found.actor, at=found.at)
    messages.success(request, "It is given up and its files are gone. Asked for again, the same ones are made.")
    return redirect("history")


@page("history")
@require_POST
def verify(request: HttpRequest) -> HttpResponse:
    """Asks for a verification; whoever came from the administrator's page goes back there."""
    try:
        ask_verification(actor=asking(request).actor, at=asking(request).at)
        messages.success(request, "A worker reads the whole record again; what it finds will stand on this page.")
    except RecordDamaged as damaged:
        messages.error(request, f"{damaged} Run manage.py verify_history: it names everything that does not match.")
    return redirect("administration" if request.POST.get("back") == "administration" else "history")


def _asked(sent: QueryDict) -> dict[str, Any]:
    """Raises BadParameters."""
    said = {name: values for name, values in given(sent).items() if name != "csrfmiddlewaretoken"}
    asked = Parameters(said, _ASKED)
    found = {
        "begins_on": asked.one("from", a_day), "ends_on": asked.one("to", a_day), "sites": asked.many("site", a_number),
        "known": asked.one("known", a_number),
    }  # fmt: skip
    asked.refuse()
    return found


def _context(found: Asking, sent: QueryDict, errors: dict[str, str]) -> dict[str, Any]:
    told = history_page(found.actor)
    names = {site.site: site.name for site in found.sites}
    exports = [_listed(export, names) for export in told.exports]
    return {
        "told": told,
        "headline": headline(told),
        "second": second_line(told),
        "exports": exports,
        "at_work": told.verifying is not None or any(each["unfinished"] for each in exports),
        "sites": [(str(site), name, str(site) in sent.getlist("site")) for site, name in names.items()],
        "chosen": {name: sent.get(name, "") for name in _ASKED},
        "errors": errors,
        "others": [text for name, text in errors.items() if name not in _ASKED],
    }


def _listed(told: ExportTold, names: dict[int, str]) -> dict[str, Any]:
    files = [(_SAY[name], file, size_in_words(told.sizes[name])) for name, file in FILES.items() if name in told.sizes]
    return {
        "id": told.id,
        "asked_at": told.asked_at,
        "scope": scope_in_words(told.scope, names),
        "state": STATES[told.state],
        "line": {"failed": "not_met", "done": "met"}.get(told.state, "open"),
        "said": how_far(told),
        "files": files,
        "unfinished": told.state in {"waiting", "running"},
        "given_up": told.state == "failed",
    }
