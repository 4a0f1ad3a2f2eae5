"""Whatever has no resource: a problem, not a page. An address that only lacks the slash at its end is answered as with
it."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponseBase
from django.urls import resolve
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView


def without_slash(request: HttpRequest, *args: Any, **named: Any) -> HttpResponseBase:
    if not request.path_info.endswith("/"):
        found = resolve(request.path_info + "/")
        if found.func is not without_slash:
            answer: HttpResponseBase = found.func(request, *found.args, **found.kwargs)
            return answer
    return _nothing(request)


without_slash.csrf_exempt = True  # type: ignore[attr-defined]  # each resource sees to it by itself


@extend_schema(exclude=True)
class Nothing(APIView):
    authentication_classes = ()
    permission_classes = ()

    def get(self, request: Request, *args: Any, **named: Any) -> Response:
        raise Http404

    post = put = patch = delete = get


_nothing = Nothing.as_view()
