"""Pages that say what went wrong, and what to do next."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def bad_request(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _failure(request, 400, "That request could not be read.", "Go back and try again.")


def forbidden(request: HttpRequest, exception: Any = None) -> HttpResponse:
    why = str(exception) or "This page is not yours to see."
    return _failure(request, 403, why, "Sign in as somebody else, or ask an administrator for the role.")


def not_found(request: HttpRequest, exception: Any = None) -> HttpResponse:
    return _failure(request, 404, "There is no such page.", "It may have been mistyped, or it is of another site.")


def server_error(request: HttpRequest) -> HttpResponse:
    return _failure(
        request, 500, "Something failed on our side.", "Nothing that was saved is lost. Try again in a minute."
    )


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    return _failure(
        request,
        403,
        "This form was open for too long, or you signed in again since.",
        "Go back, copy what you typed, load the page again and send it once more.",
    )


def _failure(request: HttpRequest, status: int, sentence: str, advice: str) -> HttpResponse:
    return render(request, "dashboards/failure.html", {"sentence": sentence, "advice": advice}, status=status)
