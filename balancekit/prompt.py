"""The connection between a page and its kernel, without a wait between small messages.

A move of a slider is answered by some small messages. By default the server's side of TCP holds
each back until the page has acknowledged the one before (RFC 896), and the page's side takes its
time for that (RFC 1122, 4.2.3.2): 40 ms and more at every second move. This connection sends at
once. ``start.py`` asks JupyterLab to use it; without it all works the same, only less promptly.
"""

from __future__ import annotations

from typing import Any

from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection


class PromptConnection(ZMQChannelsWebsocketConnection):
    """A connection that sends each message at once."""

    def connect(self) -> Any:
        """Open it."""
        self.websocket_handler.set_nodelay(True)
        return super().connect()
