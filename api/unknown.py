"""Addresses that there are not."""

from typing import Any

from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.urls import is_valid_path
from django.views import View

from api.errors import MEDIA_TYPE, of_status


class Unknown(View):
    """Whoever asks and however."""

    def dispatch(self, request: HttpRequest, *args: Any, **options: Any) -> HttpResponseBase:
        return JsonResponse(of_status(404, _said(request.path)).content(), status=404, content_type=MEDIA_TYPE)


def _said(path: str) -> str:
    ends = f"{path.rstrip('/')}/"
    if path != ends and is_valid_path(ends) and not ends.startswith("//"):
        return f"There is no such address; did you mean {ends}?"
    return "There is no such address; /api/v1/schema/ tells which there are."
