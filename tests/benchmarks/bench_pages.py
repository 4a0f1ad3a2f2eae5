"""How fast a page of figures is sent again, beside an empty view of the same server, in turns.

    python -m tests.benchmarks.bench_pages

A demonstration of 650 devices is built and served as anybody would start it; one caller asks over one connection.
"""

import http.client
import re
import statistics
import tempfile
import time
import urllib.parse
from pathlib import Path

from tests.benchmarks.record import Line
from tests.demonstrations import Served

ROUNDS, REQUESTS = 7, 300
EMPTY, PAGE = "/healthz", "/compliance/?period=2026-09"


class Caller:
    """Signed in as the manager, over one connection that stays open."""

    def __init__(self, site: Served) -> None:
        self.connection = http.client.HTTPConnection("127.0.0.1", site.port)
        self.cookies: dict[str, str] = {}
        form = self.ask("/accounts/login/")
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', form)
        assert token is not None
        said = {"csrfmiddlewaretoken": token[1], "login": "manager", "password": site.password}
        self.ask("/accounts/login/", urllib.parse.urlencode(said))

    def ask(self, path: str, body: str | None = None) -> str:
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        if body is not None:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        self.connection.request("GET" if body is None else "POST", path, body, headers)
        answer = self.connection.getresponse()
        for name, value in answer.getheaders():
            if name == "Set-Cookie":
                cookie, _, content = value.partition(";")[0].partition("=")
                self.cookies[cookie] = content
        text = answer.read().decode()
        assert answer.status < 400, (path, answer.status)
        return text


def measure(site: Served) -> list[Line]:
    caller = Caller(site)
    for _ in range(20):  # each of the server's processes has made the page once
        assert "inspections due" in caller.ask(PAGE)
    taken: dict[str, list[float]] = {EMPTY: [], PAGE: []}
    for _ in range(ROUNDS):
        for path, times in taken.items():
            for _ in range(REQUESTS):
                began = time.perf_counter()
                caller.ask(path)
                times.append(time.perf_counter() - began)
    empty, page = (statistics.median(taken[path]) for path in (EMPTY, PAGE))
    slow = statistics.quantiles(taken[PAGE], n=20)[-1]
    return [
        Line("an empty view, median", 1000 * empty, "ms"),
        Line("a page of figures sent again, median", 1000 * page, "ms", "of the empty view's rate", empty / page),
        Line("the same, 95th of 100", 1000 * slow, "ms"),
    ]


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        site = Served(Path(folder) / "data")
        try:
            print(*measure(site), sep="\n")
        finally:
            site.end_at_once()


if __name__ == "__main__":
    main()
