"""The address at which the pages are served, taken before any long work and handed to the web process."""

import errno
import socket

HOST = "127.0.0.1"


class PortRefused(ValueError):
    """Nothing can be served at this port."""


def reserve(port: int) -> socket.socket:
    """A socket bound to the port of this machine only, and not listening yet. Raises PortRefused."""
    if not 1 <= port <= 65_535:
        raise PortRefused(f"{port} is no port: give one from 1 to 65535 with --port.")
    bound = socket.socket()
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((HOST, port))
    except OSError as error:
        bound.close()
        if error.errno == errno.EADDRINUSE:
            raise PortRefused(f"Port {port} is in use by another program: give another with --port.") from None
        raise PortRefused(f"Port {port} cannot be used ({error.strerror}): give another with --port.") from None
    return bound
