"""Alerts: what somebody was told of and is still to be done; by whom it is known; and the letters that were sent."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import capfirst

from dashboards.access import Asking, asking, page
from dashboards.typed import SAID, typed_before
from dashboards.words import day_in_words, sentence
from pmcore import alert_words as say
from pmcore.engines.vocabulary import MailState
from pmcore.queries.alerts import AlertItem, OpenAlerts, open_alerts
from pmcore.queries.columns import BadValue
from pmcore.queries.head import head
from pmcore.queries.letter_files import letter_file
from pmcore.queries.letters import letters
from pmcore.queries.parameters import Parameters, a_number, a_word_of
from pmcore.services.acknowledgements import AcknowledgedBefore, NotTold, acknowledge
from pmcore.services.permissions import MAY
from pmcore.services.refusals import RecordBusy, RecordRefused

_LONGEST_NOTE = 500
_AT_A_TIME = 50
_STATES = {
    MailState.WAITING: "waits",
    MailState.SENDING: "being sent",
    MailState.SENT: "sent",
    MailState.NO_ADDRESS: "no address",
}


@page("alerts")
def show(request: HttpRequest) -> HttpResponse:
    """The open list of whoever is signed in, most urgent first."""
    asked = Parameters(dict(request.GET.lists()), ("after",))
    after = asked.one("after", a_number) or 0
    status = 400 if asked.errors else 200
    return _listed(request, after if not asked.errors else 0, list(asked.errors.values()), status=status)


@page("alerts")
def know(request: HttpRequest, alert: int) -> HttpResponse:
    """Somebody says that they know of it. Asked for without that, as after a new sign-in, it is the list, with what was
    typed before."""
    if request.method != "POST":
        sent = typed_before(request)
        return (
            redirect("alerts")
            if sent is None
            else _listed(request, 0, [], wrong=(alert, sent.get("note", ""), SAID), status=200)
        )
    found, note = asking(request), request.POST.get("note", "").strip()
    try:
        if len(note) > _LONGEST_NOTE:
            raise BadValue("alert_acknowledgement", "note", f"at most {_LONGEST_NOTE} characters are kept")
        acknowledge(alert=alert, actor=found.actor, at=found.at, note=note or None)
    except NotTold as refused:
        raise Http404 from refused
    except AcknowledgedBefore as before:
        messages.info(request, str(before))
        return redirect("alerts")
    except RecordBusy as busy:
        return _listed(request, 0, [], wrong=(alert, note, f"{busy} Your note is still here."), status=503)
    except (RecordRefused, BadValue) as refused:
        said = sentence(capfirst(refused.fault)) if isinstance(refused, BadValue) else str(refused)
        return _listed(request, 0, [], wrong=(alert, note, said), status=400)
    messages.success(request, "It is recorded that you know of this. What stays undone climbs on all the same.")
    return redirect("alerts")


def _listed(
    request: HttpRequest, after: int, errors: list[str], wrong: tuple[int, str, str] | None = None, *, status: int
) -> HttpResponse:
    found, known = asking(request), head().size
    may_know = found.actor.role in MAY["acknowledge an alert"]
    if wrong is not None and not may_know:
        errors = [*errors, wrong[2]]  # there is no form any more beside which it could stand
    alerts = open_alerts(found.actor.person or 0, as_of=found.today, known=known, after=after, limit=_AT_A_TIME)
    context = {
        "quiet": [day_in_words(found.today, weekday=True), f"record size {known:,}"],
        "headline": say.counted(alerts.kinds),
        "second": _second(alerts),
        "rows": [_row(item, found, wrong) for item in alerts.rows],
        "listed": alerts,
        "errors": errors,
        "may_know": may_know,
        "office": found.actor.role in MAY["make an alert rule"],
        "longest": _LONGEST_NOTE,
    }
    return render(request, "dashboards/alerts.html", context, status=status)


def _row(item: AlertItem, found: Asking, wrong: tuple[int, str, str] | None) -> dict[str, Any]:
    typed = wrong if wrong is not None and wrong[0] == item.alert else None
    return {
        "item": item,
        "about": say.about(item),
        "sentence": say.sentence(item, found.today),
        "why": say.why(item),
        "risk": say.risk(item),
        "mine": any(each.person == found.actor.person for each in item.acknowledged),
        "note": typed[1] if typed else "",
        "error": typed[2] if typed else "",
    }


def _second(alerts: OpenAlerts) -> str:
    if not alerts.total:
        return "You are told here, and by letter, of what falls due, is overdue, stands on hold or runs out."
    acknowledged = alerts.total - alerts.waiting
    if not acknowledged:
        return "Nobody has said yet that they know of it." if alerts.total == 1 else "None of it is acknowledged yet."
    if acknowledged == alerts.total:
        return "All of it is acknowledged; it goes away when it is done."
    return f"{acknowledged:,} of {alerts.total:,} are acknowledged and stand at the end."


@page("letters")
def show_letters(request: HttpRequest) -> HttpResponse:
    """How far each letter is, for administrators."""
    asked = Parameters(dict(request.GET.lists()), ("state",))
    state = asked.one("state", a_word_of(MailState))
    found = letters(state=None if asked.errors else state)
    context = {
        "headline": _letters_headline(found.waiting, found.silent),
        "second": _letters_second(found.silent),
        "listed": found,
        "rows": [(row, _STATES[row.state]) for row in found.rows],
        "in_folder": settings.EMAIL_FILE_PATH is not None,
        "states": [(str(word), said) for word, said in _STATES.items()],
        "chosen": state,
        "errors": asked.errors,
        "others": [text for name, text in asked.errors.items() if name != "state"],
    }
    return render(request, "dashboards/letters.html", context, status=400 if asked.errors else 200)


@page("letters")
def one_letter(request: HttpRequest, mail: int) -> HttpResponse:
    """A letter as it stands in the folder."""
    found = letter_file(mail, settings.EMAIL_FILE_PATH)
    if found is None:
        raise Http404
    return render(request, "dashboards/letter.html", {"letter": found, "mail": mail})


@page("letters")
def letter_as_file(request: HttpRequest, mail: int) -> HttpResponse:
    """The same, for a mail program."""
    found = letter_file(mail, settings.EMAIL_FILE_PATH)
    if found is None:
        raise Http404
    disposition = {"Content-Disposition": f'attachment; filename="letter-{mail}.eml"'}
    return HttpResponse(found.raw, content_type="message/rfc822", headers=disposition)


def _letters_headline(waiting: int, silent: str | None) -> str:
    many = f"{waiting:,} letter{'' if waiting == 1 else 's'}"
    if silent is not None:
        return f"The mail server does not answer; {many} wait{'s' if waiting == 1 else ''} for it."
    if waiting:
        return f"{many} wait{'s' if waiting == 1 else ''} to be sent."
    return "No letter waits to be sent."


def _letters_second(silent: str | None) -> str:
    if silent is not None:
        return "Nothing is lost: they go as soon as it answers. In the application everybody is told all the same."
    if settings.EMAIL_FILE_PATH is not None:
        return "No mail server is set up: letters are written into a folder, and can be read here."
    return "The letter of the morning goes at seven by the site's clock; what is told at once goes at once."
