"""A cable between browser and server that can be pulled and put back."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit


class Cable:
    """Passes bytes on between a port of its own and a server, while it is plugged.

    Attributes
    ----------
    url : where the browser finds the server through the cable.
    """

    def __init__(self, server: str) -> None:
        to = urlsplit(server)
        self._server = (to.hostname or "127.0.0.1", to.port or 80)
        self._door = socket.create_server(("127.0.0.1", 0))
        self._plugged = True
        self._ends: set[socket.socket] = set()
        self.url = f"http://127.0.0.1:{self._door.getsockname()[1]}"
        threading.Thread(target=self._listen, daemon=True).start()

    def pull(self) -> None:
        """Cut every connection; new ones are cut at once."""
        self._plugged = False
        for end in list(self._ends):
            _close(end)
        self._ends.clear()

    def put_back(self) -> None:
        """Let new connections through again."""
        self._plugged = True

    def close(self) -> None:
        """End for good."""
        _close(self._door)
        self.pull()

    def _listen(self) -> None:
        while True:
            try:
                browser, _ = self._door.accept()
                if not self._plugged:
                    _close(browser)
                    continue
                server = socket.create_connection(self._server)
            except OSError:  # closed for good, or the server has ended
                return
            for end in (browser, server):
                end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._ends |= {browser, server}
            for one, other in ((browser, server), (server, browser)):
                threading.Thread(target=self._pass, args=(one, other), daemon=True).start()

    def _pass(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):  # a pulled cable ends both ways
            while data := one.recv(65536):
                other.sendall(data)
        for end in (one, other):
            _close(end)
            self._ends.discard(end)


def _close(end: socket.socket) -> None:
    with contextlib.suppress(OSError):  # not connected any more
        end.shutdown(socket.SHUT_RDWR)
    end.close()


@contextmanager
def through_a_cable(server: str) -> Iterator[Cable]:
    """Lay a cable to a server for the length of the ``with``."""
    cable = Cable(server)
    try:
        yield cable
    finally:
        cable.close()
