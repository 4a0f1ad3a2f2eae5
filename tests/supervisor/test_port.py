"""The port is taken before any long work, and a wrong one is said with the option that changes it."""

import socket

import pytest

from pmcore.supervisor.port import PortRefused, reserve


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


@pytest.mark.parametrize("port", [-1, 0, 65_536])
def test_a_number_that_is_no_port_is_refused(port: int) -> None:
    with pytest.raises(PortRefused, match=f"{port} is no port: give one from 1 to 65535 with --port"):
        reserve(port)


@pytest.mark.parametrize("host", ["127.0.0.1", "0.0.0.0"])
def test_a_port_in_use_is_refused(host: str) -> None:
    with socket.create_server((host, 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(PortRefused, match=f"Port {port} is in use by another program: give another with --port"):
            reserve(port)


def test_nobody_is_let_in_before_the_web_process_listens() -> None:
    port = free_port()
    with reserve(port) as listener:
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port), timeout=5)
        listener.listen()
        with socket.create_connection(("127.0.0.1", port), timeout=5) as connection:
            assert connection.getpeername() == ("127.0.0.1", port)
