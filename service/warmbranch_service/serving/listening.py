"""The listening socket: bound, or taken over from a service that runs.

A service hands its own socket to whoever takes over from it, through a socket of the kernel's that
only processes of the same user are answered on. So there is one queue of connections, and ending
the old service closes none of it. Two sockets at one address would have a queue each, and what
waits in one when it is closed is reset.
"""

from __future__ import annotations

import contextlib
import errno
import os
import select
import socket
import struct
import time

BACKLOG = 2048
"""Connections that the kernel holds until a worker takes them."""

HAND_OVER_SECONDS = 2.0
"""A service that is asked for its socket answers within a tenth of a second; where one has just
ended, the next offers it as soon."""

AGAIN_SECONDS = 0.05
"""s between two times of asking."""

_CREDENTIALS = struct.Struct("3i")  # process, user, group: see SO_PEERCRED in unix(7)


class PortTakenError(Exception):
    """Somebody else listens at the address."""


def bound(host: str, port: int, *, beside: bool) -> socket.socket:
    """A listening socket.

    Parameters
    ----------
    host : str
    port : int
        0 for any free one.
    beside : bool
        Whether to take over from a service of the same user that listens there.

    Raises
    ------
    OSError
        If the address cannot be had; ``PortTakenError`` if somebody else listens there.
    """
    family = _family(host)
    if beside:
        handed = taken_over(host, port)
        if handed is not None:
            return handed
    elif port:
        # Without SO_REUSEPORT this fails where anybody listens.
        try:
            socket.create_server((host, port), family=family).close()
        except OSError as error:
            raise PortTakenError(error.strerror or str(error)) from None
    # Of a service that does not hand over, at least the port can be shared.
    return socket.create_server((host, port), family=family, backlog=BACKLOG, reuse_port=True)


def taken_over(host: str, port: int) -> socket.socket | None:
    """The socket of a service of the same user at an address; None where none answers.

    Between two services that end and begin there is a moment in which nobody offers it. A second
    socket, made in such a moment, would be a second queue: so long as somebody listens, ask again.
    """
    deadline = time.monotonic() + HAND_OVER_SECONDS
    while time.monotonic() < deadline:
        with contextlib.suppress(OSError), _unix() as asking:
            asking.settimeout(HAND_OVER_SECONDS)
            asking.connect(_name(host, port))
            _, (descriptor, *_), _, _ = socket.recv_fds(asking, 1, 1)
            return socket.socket(fileno=descriptor)
        if _is_free(host, port):
            return None
        time.sleep(AGAIN_SECONDS)
    return None


def _is_free(host: str, port: int) -> bool:
    """Whether nobody listens there: without SO_REUSEPORT, binding fails where anybody does."""
    try:
        socket.create_server((host, port), family=_family(host)).close()
    except OSError as error:
        return error.errno != errno.EADDRINUSE
    return True


class HandOver:
    """Offers a listening socket to whoever takes over.

    Parameters
    ----------
    listener : socket
    host : str
        As it was given.
    """

    def __init__(self, listener: socket.socket, host: str) -> None:
        self._listener = listener
        self._name = _name(host, listener.getsockname()[1])
        self._offering: socket.socket | None = None

    def look(self) -> None:
        """Hand the socket to everybody who has asked; to be called a few times a second.

        As long as the service from which this one took over is there, it is that one's part.
        """
        if self._offering is None:
            self._offering = self._bound()
        while self._offering and select.select([self._offering], [], [], 0)[0]:
            with contextlib.suppress(OSError):
                asking, _ = self._offering.accept()
                with asking:
                    told = asking.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12)
                    if _CREDENTIALS.unpack(told)[1] == os.getuid():
                        socket.send_fds(asking, [b"1"], [self._listener.fileno()])

    def close(self) -> None:
        """Offer it no more."""
        if self._offering is not None:
            self._offering.close()
            self._offering = None

    def _bound(self) -> socket.socket | None:
        offering = _unix()
        try:
            offering.bind(self._name)
            offering.listen(8)
        except OSError:  # somebody else's still, or a kernel without such names
            offering.close()
            return None
        offering.setblocking(False)
        return offering


def _family(host: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in host else socket.AF_INET


def _unix() -> socket.socket:
    return socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)


def _name(host: str, port: int) -> bytes:
    """A name without a file; it ends with whoever holds it."""
    return f"\0warmbranch {os.getuid()} {host} {port}".encode()
