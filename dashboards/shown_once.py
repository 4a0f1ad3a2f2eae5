"""A password or a token on its way from the form that made it to the one page that shows it. It waits in the session,
locked with the installation's secret, for five minutes at most, and is gone from there when it is shown."""

from base64 import urlsafe_b64encode
from hashlib import sha256

from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings
from django.http import HttpRequest

_NAME = "shown-once"
_SECONDS = 300


def keep_for_once(request: HttpRequest, address: str, secret: str) -> None:
    """For the page at the address, and for whoever made it."""
    request.session[_NAME] = [address, _lock().encrypt(secret.encode()).decode()]


def shown_once(request: HttpRequest) -> str | None:
    """What was kept for this page; told once."""
    address, kept = request.session.get(_NAME) or (None, "")
    if address != request.path:
        return None
    del request.session[_NAME]
    try:
        return _lock().decrypt(kept.encode(), ttl=_SECONDS).decode()
    except InvalidToken:
        return None


def _lock() -> Fernet:
    return Fernet(urlsafe_b64encode(sha256(f"shown once {settings.SECRET_KEY}".encode()).digest()))
