"""A form on a page of its own: shown, sent, and shown again with everything that was typed where it is refused."""

from collections.abc import Callable, Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import capfirst

from dashboards.fields import Form
from dashboards.typed import SAID, typed_before
from dashboards.words import sentence
from pmcore.queries.columns import BadValue
from pmcore.services.accounts import AccountRefused
from pmcore.services.refusals import RecordBusy, RecordRefused, RequestReused

Beside = Mapping[Any, str]
"""By the class of a refusal, the field beside which it is said."""

_TEMPLATE = "dashboards/administration_form.html"


def answer(
    request: HttpRequest, form: Form, around: dict[str, Any], send: Callable[[Form], str | None], beside: Beside
) -> HttpResponse:
    """`around`: what stands around the form; `send`: does the deed and gives the address to go on at, or None where the
    form says what is wrong. A refusal with a `field` of its own is said there."""
    if request.method != "POST":
        sent = typed_before(request)
        if sent is not None:
            form.take(sent)
            form.error = SAID
        return _show(request, form, around)
    form.take(request.POST)
    try:
        address = None if form.wrong else send(form)
    except RecordBusy as busy:
        form.error = f"{busy} Everything that you typed is still here."
        return _show(request, form, around, status=503)
    except (AccountRefused, RecordRefused, BadValue) as refused:
        _put_beside(form, refused, beside)
        address = None
    return _show(request, form, around, status=400) if address is None else redirect(address)


def _put_beside(form: Form, refused: Exception, beside: Beside) -> None:
    words = sentence(capfirst(refused.fault)) if isinstance(refused, BadValue) else str(refused)
    if isinstance(refused, RequestReused):
        words = "This form was sent before, with other words. Look at the list, then send it again."
    if isinstance(refused, RequestReused) or getattr(refused, "column", "") == "request_key":
        form.key = Form([]).key
    name = beside.get(type(refused)) or getattr(refused, "field", None) or getattr(refused, "column", "")
    field = next((each for each in form.fields if each.name == name), None)
    if field is None:
        form.error = words
    else:
        field.error = words


def _show(request: HttpRequest, form: Form, around: dict[str, Any], status: int = 200) -> HttpResponse:
    asks = any(each.kind != "hidden" for each in form.fields)
    return render(request, _TEMPLATE, {"form": form, "asks": asks, **around}, status=status)
