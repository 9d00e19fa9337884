"""The server: many may knock, and who never says what they want is shown out first."""

from __future__ import annotations

import logging
import socket
from collections.abc import Sequence
from typing import Any, Final

from waitress.adjustments import Adjustments
from waitress.server import MultiSocketServer, TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher

THREADS: Final = 16
MOST_WAITING: Final = 60
"""Connections that have no whole request yet; beyond it the longest silent are closed."""
MOST_OPEN: Final = 400
LOOK_EVERY_S: Final = 1
SILENT_S: Final = 30
"""A connection that says nothing for so long is closed."""


class BoundedServer(TcpWSGIServer):  # type: ignore[misc, unused-ignore]
    """A server that half-open connections cannot hold up."""

    def handle_accept(self) -> None:
        """Take a connection, and make room for it."""
        super().handle_accept()
        channels: Any = self.active_channels
        waiting = [one for one in channels.values() if not one.requests]
        if len(waiting) > MOST_WAITING:
            waiting.sort(key=lambda one: one.last_activity)
            for one in waiting[: len(waiting) - MOST_WAITING]:
                one.will_close = True


def make_server(app: Any, sockets: Sequence[socket.socket], largest_body: int) -> MultiSocketServer:
    """Return a server on bound sockets; `run` serves until Ctrl+C."""
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    settings = Adjustments(
        sockets=list(sockets),
        threads=THREADS,
        ident="",
        max_request_body_size=largest_body,
        connection_limit=MOST_OPEN,
        cleanup_interval=LOOK_EVERY_S,
        channel_timeout=SILENT_S,
        asyncore_use_poll=True,
    )
    dispatcher = ThreadedTaskDispatcher()
    dispatcher.set_thread_count(THREADS)
    known: dict[int, Any] = {}
    for one in sockets:
        place = (one.family, one.type, one.proto, one.getsockname())
        BoundedServer(
            app, known, True, one, dispatcher, settings, bind_socket=False, sockinfo=place
        )
    listen = [one.getsockname() for one in sockets]
    return MultiSocketServer(known, settings, listen, dispatcher, logging.getLogger("bmp").info)


def bound_socket(address: str, port: int) -> socket.socket:
    """Return a socket that this page alone holds.

    Raises
    ------
    OSError, OverflowError
        The port is taken, or is none.
    """
    one = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    # on Windows two programs may bind one port unless the first says no; elsewhere the usual
    # option only lets a page that was stopped start again at once
    alone = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)
    option = socket.SO_REUSEADDR if alone is None else alone
    try:
        one.setsockopt(socket.SOL_SOCKET, option, 1)
        one.bind((address, port))
    except (OSError, OverflowError):
        one.close()
        raise
    return one
