"""A demonstration served by `manage.py demo`, as somebody at a terminal would start it, on a data folder of its own."""

import http.client
import http.cookiejar
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Mapping
from pathlib import Path

from tests.house.checkout import ROOT

PATIENCE_SECONDS = 120
_OURS = (
    "PYTHONUNBUFFERED",  # what is printed has to arrive without it
    "DATABASE_URL",
    "REDIS_URL",
    "EMAIL_URL",
    "PMCORE_SECRET_KEY",
    "PMCORE_HOSTS",
    "DJANGO_SETTINGS_MODULE",
)


def environment(folder: Path) -> dict[str, str]:
    """Embedded, whatever the tests themselves run on."""
    return {**{name: value for name, value in os.environ.items() if name not in _OURS}, "PMCORE_DATA": str(folder)}


def manage(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "manage.py", *arguments]
    return subprocess.run(
        command, cwd=ROOT, env=environment(folder), capture_output=True, text=True, timeout=PATIENCE_SECONDS
    )


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


def wait_until(holds: Callable[[], bool]) -> bool:
    """Whether it came to hold before the patience was over."""
    give_up_at = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < give_up_at:
        if holds():
            return True
        time.sleep(0.05)
    return False


def processes_on(folder: Path) -> dict[int, str]:
    """Command lines of every living process that was started for this data folder, whoever its parent is now."""
    found = {}
    for process in Path("/proc").glob("[0-9]*"):
        try:
            variables = (process / "environ").read_bytes().split(b"\0")
            if f"PMCORE_DATA={folder}".encode() in variables:
                found[int(process.name)] = (process / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        except OSError:
            continue  # it has ended, or is somebody else's
    return found


class Served:
    """Started and waited for: what it printed, until its last line. `more`: variables, where it is not embedded."""

    def __init__(self, folder: Path, *options: str, more: Mapping[str, str] | None = None) -> None:
        self.folder, self.port = folder, free_port()
        self._errors = folder.with_name(f"{folder.name}-stderr").open("w+")
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "demo", "--port", str(self.port), *options],
            cwd=ROOT,
            env=environment(folder) | dict(more or {}),
            stdout=subprocess.PIPE,
            stderr=self._errors,
            text=True,
        )
        try:
            self.printed = self._read_to("To start anew")
        except BaseException:  # nobody holds it yet who would end it
            self.process.kill()
            self.process.wait()
            raise

    def _read_to(self, last: str) -> str:
        assert self.process.stdout is not None
        lines = []
        for line in self.process.stdout:
            lines.append(line)
            if line.startswith(last):
                return "".join(lines)
        raise AssertionError(f"It ended before it served:\n{''.join(lines)}{self.said()}")

    def said(self) -> str:
        """On standard error, so far."""
        return Path(self._errors.name).read_text()

    @property
    def password(self) -> str:
        found = re.search(r"with the password (\S+)", self.printed)
        assert found is not None
        return found[1]

    @property
    def token(self) -> str:
        """The auditor's, for the interface."""
        found = re.search(r"Authorization: Token (\S+?)\"", self.printed)
        assert found is not None
        return found[1]

    def status(self, path: str) -> int | None:
        """Of the answer to a plain request; none where nobody answers."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            connection.request("GET", path)
            return connection.getresponse().status
        except (OSError, http.client.HTTPException):
            return None
        finally:
            connection.close()

    def signs_in(self, username: str, password: str) -> bool:
        jar = http.cookiejar.CookieJar()
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar), _Stay())
        url = f"http://127.0.0.1:{self.port}/accounts/login/"
        page = browser.open(url).read().decode()
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)
        assert token is not None
        form = {"csrfmiddlewaretoken": token[1], "login": username, "password": password}
        browser.open(urllib.request.Request(url, urllib.parse.urlencode(form).encode()))
        return any(cookie.name == "sessionid" for cookie in jar)

    def leader(self, name: str) -> int:
        """The process of the child that this part of its command line names."""
        found = [pid for pid, command in processes_on(self.folder).items() if name in command]
        return min((pid for pid in found if os.getpgid(pid) == pid), default=0)

    def end(self, number: int = signal.SIGINT) -> int:
        self.process.send_signal(number)
        return self.process.wait(PATIENCE_SECONDS)

    def end_at_once(self) -> int:
        """Asked twice."""
        self.process.send_signal(signal.SIGTERM)
        time.sleep(0.3)
        return self.end(signal.SIGTERM)


class _Stay(urllib.request.HTTPRedirectHandler):
    """Goes nowhere after the form was sent: the cookie is what matters."""

    def http_error_302(self, *arguments: object) -> object:  # type: ignore[override]
        return arguments[1]
