"""A password or a token on its way from the form that made it to the one page that shows it. It waits in the session,
locked with the installation's secret, for five minutes at most, and is gone from there when it is shown."""

from base64 import urlsafe_b64encode
from hashlib import sha256

from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings
from django.http import HttpRequest

_NAME = "shown-once"
_SECONDS = 300
_MOST = 5
"""Of so many pages the secrets wait at once; the oldest gives way."""


def keep_for_once(request: HttpRequest, address: str, secret: str) -> None:
    """For the page at the address, and for whoever made it; what waits for other pages stays."""
    kept = _waiting(request)
    kept.pop(address, None)
    kept[address] = _lock().encrypt(secret.encode()).decode()
    _keep(request, dict(list(kept.items())[-_MOST:]))


def shown_once(request: HttpRequest) -> str | None:
    """What was kept for this page; told once, to whoever reads the page: asking for its head takes nothing."""
    if request.method != "GET" or _NAME not in request.session:
        return None
    kept = _waiting(request)
    found = kept.pop(request.path, None)
    _keep(request, kept)
    return None if found is None else _lock().decrypt(found.encode()).decode()


def _waiting(request: HttpRequest) -> dict[str, str]:
    """By address, the oldest first, still locked; what waited too long is gone."""
    kept = request.session.get(_NAME)
    return {address: secret for address, secret in kept.items() if _is_fresh(secret)} if isinstance(kept, dict) else {}


def _is_fresh(secret: str) -> bool:
    try:
        return bool(_lock().decrypt(secret.encode(), ttl=_SECONDS))
    except InvalidToken:
        return False


def _keep(request: HttpRequest, kept: dict[str, str]) -> None:
    if kept:
        request.session[_NAME] = kept
    else:
        request.session.pop(_NAME, None)


def _lock() -> Fernet:
    return Fernet(urlsafe_b64encode(sha256(f"shown once {settings.SECRET_KEY}".encode()).digest()))
