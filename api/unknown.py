"""Addresses that there are not."""

from typing import Any

from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.urls import resolve
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.csrf import csrf_exempt

from api.errors import MEDIA_TYPE, of_status


@method_decorator(csrf_exempt, name="dispatch")  # each resource sees to it by itself
class Unknown(View):
    """Whoever asks and however. An address that only lacks the slash at its end is answered as with it."""

    def dispatch(self, request: HttpRequest, *args: Any, **options: Any) -> HttpResponseBase:
        if not request.path_info.endswith("/"):
            found = resolve(f"{request.path_info}/")
            if getattr(found.func, "view_class", None) is not Unknown:
                answer: HttpResponseBase = found.func(request, *found.args, **found.kwargs)
                return answer
        problem = of_status(404, "There is no such address; /api/v1/schema/ tells which there are.")
        return JsonResponse(problem.content(), status=404, content_type=MEDIA_TYPE)
