"""The page and its kernel are connected without a wait between small messages."""

import asyncio
import importlib
import socket

from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection
from tornado.httpserver import HTTPServer
from tornado.testing import bind_unused_port
from tornado.web import Application
from tornado.websocket import WebSocketHandler, websocket_connect

import start
from balancekit.prompt import PromptConnection


def test_small_messages_are_sent_at_once(monkeypatch):
    """TCP_NODELAY, RFC 1122, 4.2.3.4, on the socket of a real server of the kind that Lab uses."""
    seen = []
    opened = asyncio.Event()

    class Connection(PromptConnection):
        websocket_handler = None  # takes a handler that no Lab stands behind

    class Handler(WebSocketHandler):
        def open(self):
            connection = Connection()
            connection.websocket_handler = self
            connection.connect()
            opened.set()

    def connect(connection):
        held = connection.websocket_handler.ws_connection.stream.socket
        seen.append(held.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))

    monkeypatch.setattr(ZMQChannelsWebsocketConnection, "connect", connect)

    async def talk():
        listening, port = bind_unused_port()
        server = HTTPServer(Application([("/", Handler)]))
        server.add_socket(listening)
        page = await websocket_connect(f"ws://127.0.0.1:{port}/")
        await asyncio.wait_for(opened.wait(), 10)
        page.close()
        await page.read_message()
        server.stop()
        await server.close_all_connections()

    asyncio.run(talk())
    assert [bool(value) for value in seen] == [True]


def test_start_asks_lab_to_use_it(tmp_path):
    command = start.lab_command("python", tmp_path, tmp_path / "lab")
    named = [each.partition("=")[2] for each in command if "websocket_connection" in each]
    module, _, name = named[0].rpartition(".")
    assert getattr(importlib.import_module(module), name) is PromptConnection
