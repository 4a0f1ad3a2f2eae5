"""Equipment: find a device, and read what is known of it."""

from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from dashboards.access import ROLES, Asking, asking, page
from dashboards.equipment_words import event_in_words
from dashboards.fault_deeds import PLACED_BY_HAND
from dashboards.fault_words import hold_told, report_told
from dashboards.finding_form import finding_in_words
from dashboards.second_thoughts import later
from dashboards.views.faults import offered
from dashboards.views.reported import first_reported
from dashboards.words import in_words, words_of
from pmcore.engines.vocabulary import DueState, ServiceStateKind
from pmcore.queries.device_dues import device_dues
from pmcore.queries.device_faults import device_faults, device_releases
from pmcore.queries.device_timeline import Happened, device_timeline
from pmcore.queries.devices import DeviceFilter, devices_page, one_device
from pmcore.queries.group_names import class_names
from pmcore.queries.head import head
from pmcore.queries.parameters import a_number
from pmcore.services.permissions import MAY

_PARAMETERS = ("words", "site", "device_class", "state", "held", "after")
_NOT_OVER = (DueState.AHEAD, DueState.OPEN, DueState.OVERDUE)
_DUES_SHOWN = 8
_FINDINGS_SHOWN = 8
_LONGEST_WORDS = 100
_HELD = (("yes", "Held"), ("no", "Not held"))


@page("equipment")
def show(request: HttpRequest) -> HttpResponse:
    """The inventory, fifty devices at a time."""
    found, known = asking(request), head().size
    chosen = {name: value for name in _PARAMETERS if (value := request.GET.get(name, "").strip())}
    classes = class_names(known)
    errors = _errors(request, {str(site.site) for site in found.sites}, {str(key) for key in classes})
    listed = None
    if not errors:
        asked = DeviceFilter(
            words=chosen.get("words", ""),
            sites=_ids(chosen, "site"),
            device_classes=_ids(chosen, "device_class"),
            states=frozenset({ServiceStateKind(chosen["state"])}) if "state" in chosen else None,
            held=chosen["held"] == "yes" if "held" in chosen else None,
        )
        after = int(chosen["after"]) if "after" in chosen else None
        listed = devices_page(asked, as_of=found.today, known=known, today=found.today, actor=found.actor, after=after)
    context = {
        "chosen": chosen,
        "reported": _reported(chosen, errors, found, known),
        "errors": errors,
        "others": [text for name, text in errors.items() if name not in _PARAMETERS],
        "listed": listed,
        "sites": [(str(site.site), site.name) for site in found.sites],
        "classes": sorted(((str(key), name) for key, name in classes.items()), key=lambda pair: pair[1]),
        "held": _HELD,
        "states": [(str(state), words_of(state)) for state in ServiceStateKind],
        "first": urlencode({name: value for name, value in chosen.items() if name != "after"}),
        "next": urlencode(chosen | {"after": listed.after}) if listed and listed.after else None,
        "known": known,
    }
    return render(request, "dashboards/equipment.html", context, status=_status(chosen, errors))


def _reported(chosen: dict[str, str], errors: dict[str, str], found: Asking, known: int) -> dict[str, object]:
    """What nobody has answered, for those who answer it; where devices are searched for, it would stand in the way."""
    if errors or chosen.keys() - {"site"} or found.actor.role not in ROLES["reported"]:
        return {}
    return first_reported(found, int(chosen["site"]) if "site" in chosen else None, known)


@page("equipment")
def one(request: HttpRequest, device: int) -> HttpResponse:
    """One device: may it be used, what is due, and everything that happened to it."""
    found, known = asking(request), head().size
    listed = one_device(device, as_of=found.today, known=known, today=found.today, actor=found.actor)
    if listed is None:
        raise Http404
    dues = device_dues(device, as_of=found.today, known=known)
    faults = device_faults(device, as_of=found.today, known=known)
    events = device_timeline(device, as_of=found.today, known=known)
    role = found.actor.role
    releases = device_releases(device, as_of=found.today, known=known) if role in MAY["take back a release"] else ()
    undo = {each.entry: later(role, "releases", each.release) for each in releases}
    coming = [due for due in dues if due.state in _NOT_OVER]
    past = [due for due in reversed(dues) if due.state not in _NOT_OVER]
    context: dict[str, Any] = {
        "device": listed,
        "holds": [
            (
                hold,
                hold_told(hold, faults),
                later(role, "holds", hold.hold) if hold.reason in PLACED_BY_HAND else [],
            )
            for hold in faults.holds
        ],
        "reports": [(report_told(each), later(role, "fault-reports", each.fault_report)) for each in faults.reports],
        "findings": [
            (each, finding_in_words(each), later(role, "findings", each.finding))
            for each in list(reversed(faults.findings))[:_FINDINGS_SHOWN]
        ],
        "actions": [] if listed.state is ServiceStateKind.LEFT else offered(role, bool(faults.holds)),
        "headline": _headline(
            listed.state, len(faults.holds), [due for due in coming if due.state is DueState.OVERDUE]
        ),
        "coming": coming[:_DUES_SHOWN],
        "past": past,
        "events": [
            (event, event_in_words(event), undo.get(event.entry, []) if event.what is Happened.RELEASED else [])
            for event in events
        ],
        "known": known,
        "today": found.today,
    }
    return render(request, "dashboards/device.html", context)


def _headline(state: ServiceStateKind, holds: int, overdue: list[Any]) -> str:
    match state:
        case ServiceStateKind.LEFT:
            return "It has left the inventory."
        case ServiceStateKind.STORED:
            return "It is in storage."
        case ServiceStateKind.NOT_LOCATED:
            return "It could not be found."
    if holds:
        return f"It may not be used: {in_words(holds)} hold{'s' if holds > 1 else ''} in force."
    if overdue:
        return f"In service, with {in_words(len(overdue))} inspection{'s' if len(overdue) > 1 else ''} overdue."
    return "In service; no hold is in force and nothing is overdue."


def _ids(chosen: dict[str, str], name: str) -> frozenset[int] | None:
    return frozenset({int(chosen[name])}) if name in chosen else None


def _status(chosen: dict[str, str], errors: dict[str, str]) -> int:
    """Another's site is not theirs to see; whatever else is wrong they can mend."""
    if errors.keys() == {"site"} and _is_number(chosen["site"]):
        return 403
    return 400 if errors else 200


def _is_number(text: str) -> bool:
    try:
        a_number(text)
    except ValueError:
        return False
    return True


def _errors(request: HttpRequest, sites: set[str], classes: set[str]) -> dict[str, str]:
    """A sentence for each parameter that will not do."""
    errors = {}
    for name, values in request.GET.lists():
        value = values[0].strip()
        if name not in _PARAMETERS:
            errors[name] = f"There is no parameter {name!r}; there are {', '.join(_PARAMETERS)}."
        elif len(values) > 1:
            errors[name] = f"{name} is given {len(values)} times; say it once."
        elif value and name == "site" and value not in sites:
            errors[name] = "This is none of your sites."
        elif value and name == "device_class" and value not in classes:
            errors[name] = "There is no such device class."
        elif value and name == "state" and value not in list(ServiceStateKind):
            errors[name] = f"{value!r} is none of {', '.join(ServiceStateKind)}."
        elif value and name == "held" and value not in dict(_HELD):
            errors[name] = f"{value!r} is neither yes nor no."
        elif value and name == "after" and not _is_number(value):
            errors[name] = "That page cannot be found; begin at the first one."
        elif name == "words" and (len(value) > _LONGEST_WORDS or not value.isprintable()):
            errors[name] = f"At most {_LONGEST_WORDS} characters that can be seen are searched for."
    return errors
