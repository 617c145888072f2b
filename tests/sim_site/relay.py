"""A wire between a client and a broker that can be cut and joined again."""

from __future__ import annotations

import contextlib
import socket
import threading


class Relay:
    """Listens on a free port of 127.0.0.1 and passes bytes both ways, while it is not cut."""

    def __init__(self, host: str, port: int) -> None:
        self.target = (host, port)
        self.joined = True
        self.open: list[socket.socket] = []
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self.listener.getsockname()[1])
        self.threads = [threading.Thread(target=self.accept, daemon=True)]
        self.threads[0].start()

    def accept(self) -> None:
        while True:
            try:
                near, _ = self.listener.accept()
            except OSError:
                return
            if not self.joined:
                near.close()
                continue
            far = socket.create_connection(self.target)
            self.open += [near, far]
            for one, other in ((near, far), (far, near)):
                self.threads.append(threading.Thread(target=self.pass_on, args=(one, other), daemon=True))
                self.threads[-1].start()

    def pass_on(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(65536):
                other.sendall(data)
        for each in (one, other):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)

    def cut(self) -> None:
        """Break every connection, and take no new one until joined."""
        self.joined = False
        for each in self.open:
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)

    def join(self) -> None:
        self.joined = True

    def close(self) -> None:
        self.cut()
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        for thread in self.threads:
            thread.join(5)
        for each in self.open:
            each.close()
