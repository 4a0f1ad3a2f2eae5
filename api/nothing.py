"""Whatever has no resource: a problem, not a page."""

from typing import Any

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView


@extend_schema(exclude=True)
class Nothing(APIView):
    authentication_classes = ()
    permission_classes = ()
    roles: dict[str, Any] = {}

    def get(self, request: Request, *args: Any, **named: Any) -> Response:
        raise Http404

    post = put = patch = delete = get
