"""The form by which inspections are given to a person: what was ticked and typed, and what came of it."""

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.http import QueryDict

from dashboards.access import Asking
from pmcore.engines.vocabulary import Half
from pmcore.queries.columns import BadValue
from pmcore.queries.parameters import BadParameters, Parameters, a_day, a_number, a_word_of
from pmcore.services.assignments import (
    AssignmentMade,
    DayIsOver,
    NotForThisPerson,
    assign_inspections,
    take_off,
)
from pmcore.services.refusals import RecordBusy, RecordRefused, RequestReused
from pmcore.services.requests import Request

_NAMES = ("due", "person", "on", "half", "do", "seen", "key", "csrfmiddlewaretoken")
_SHOWN = {"due", "person", "on", "half"}
_FIELD = {DayIsOver: "on", NotForThisPerson: "person"}
GIVE, TAKE_OFF = "give", "take_off"


@dataclass(frozen=True, slots=True)
class GivingOut:
    """As it stands in the form, words as they were typed. `errors` by field; `due` for those that go for the list."""

    ticked: frozenset[int] = frozenset()
    person: str = ""
    on: str = ""
    half: str = ""
    key: str = field(default_factory=lambda: uuid.uuid4().hex)
    errors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class GivenOut:
    """What was asked for, and what came of it. `person` None: taken off."""

    dues: tuple[int, ...]
    person: int | None
    on: dt.date | None
    half: Half | None
    made: AssignmentMade


class NotGivenOut(ValueError):
    """`form` keeps what was ticked and typed, with what is wrong beside its field; `busy`: try the same again."""

    def __init__(self, form: GivingOut, *, busy: bool = False) -> None:
        super().__init__(" ".join(form.errors.values()))
        self.form, self.busy = form, busy


def give_out(sent: QueryDict, found: Asking) -> GivenOut:
    """Raises NotGivenOut."""
    try:
        return _give_out(sent, found)
    except BadParameters as bad:
        shown = {name: said for name, said in bad.errors.items() if name in _SHOWN}
        others = " ".join(said for name, said in bad.errors.items() if name not in _SHOWN)
        raise NotGivenOut(form_of(sent, {"due": others} | shown if others else shown)) from bad
    except BadValue as bad:
        said = "The form was not whole. Look at what is ticked, and send it again."
        raise NotGivenOut(form_of(sent, {"due": said}, key=uuid.uuid4().hex)) from bad
    except RecordBusy as busy:
        raise NotGivenOut(form_of(sent, {"due": str(busy)}), busy=True) from busy
    except RequestReused as reused:
        said = (
            "This form was sent before, with other choices. Look at the list, and send it again if it is still right."
        )
        raise NotGivenOut(form_of(sent, {"due": said}, key=uuid.uuid4().hex)) from reused
    except RecordRefused as refused:
        raise NotGivenOut(form_of(sent, {_FIELD.get(type(refused), "due"): str(refused)})) from refused


def _give_out(sent: QueryDict, found: Asking) -> GivenOut:
    reader = Parameters({name: filled for name, values in sent.lists() if (filled := [*filter(None, values)])}, _NAMES)
    dues = tuple(sorted(reader.many("due", a_number) or ()))
    person, on = reader.one("person", a_number), reader.one("on", a_day)
    half, seen = reader.one("half", a_word_of(Half)), reader.one("seen", a_number)
    taking = sent.get("do") == TAKE_OFF
    _check_filled(reader, dues, taking)
    reader.refuse()
    wish = {"due": list(dues), "person": person, "on": on and on.isoformat(), "half": half, "do": sent.get("do")}
    request = Request.of(sent.get("key", ""), {name: value for name, value in wish.items() if value is not None})
    by: dict[str, Any] = {
        "due_inspections": dues,
        "actor": found.actor,
        "at": found.at,
        "seen": seen,
        "request": request,
    }
    if taking:
        return GivenOut(dues, None, None, None, take_off(**by))
    assert person is not None and on is not None
    return GivenOut(dues, person, on, half, assign_inspections(person=person, on=on, half=half, **by))


def _check_filled(reader: Parameters, dues: tuple[int, ...], taking: bool) -> None:
    if not dues and "due" not in reader.errors:
        reader.errors["due"] = "Tick at least one inspection."
    if taking:
        return
    for name, wanted in (("person", "Say who is to do them."), ("on", "Say on which day.")):
        if not reader.given.get(name):
            reader.errors[name] = wanted


def form_of(sent: QueryDict, errors: Mapping[str, str], key: str | None = None) -> GivingOut:
    """What was ticked and typed, with what is wrong."""
    ticked = Parameters({"due": sent.getlist("due")}, _NAMES).many("due", a_number) or frozenset()
    texts = {name: sent.get(name, "") for name in ("person", "on", "half")}
    return GivingOut(ticked, **texts, key=key or sent.get("key") or uuid.uuid4().hex, errors=errors)
