"""What fails before or behind a view of the interface is said as a problem too, never as a page."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse

from api.errors import MEDIA_TYPE, failure

_PREFIX = "/api/"


class Problems:
    """The outermost: it sees what any other middleware answers."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        if not request.path.startswith(_PREFIX) or response.status_code < 400:
            return response
        if response.get("Content-Type", "").startswith(MEDIA_TYPE):
            return response
        return self._said(response.status_code)

    def _said(self, status: int) -> HttpResponse:
        said = JsonResponse(failure(status).content(), status=status, content_type=MEDIA_TYPE)
        said["Cache-Control"] = "no-store"
        return said
