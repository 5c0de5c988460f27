"""A relay in front of the server that counts every byte that goes to the browser, headers and all."""

import contextlib
import socket
import threading
from collections.abc import Callable


class CountingRelay:
    """Listens on a port of its own on loopback; `to_browser` is the sum so far."""

    def __init__(self, port: int) -> None:
        self._to = port
        self._lock = threading.Lock()
        self.to_browser = 0
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        self._threads: list[threading.Thread] = []
        self._ends: list[socket.socket] = []
        self._start(self._accept)

    def close(self) -> None:
        """Ends every connection and takes no further one."""
        _shut(self._listener)
        with self._lock:
            ends, threads = [*self._ends], [*self._threads]
        for end in ends:
            _shut(end)
        for thread in threads:
            thread.join()
        for end in (self._listener, *ends):
            end.close()

    def _start(self, work: Callable[..., None], *given: object) -> None:
        thread = threading.Thread(target=work, args=given, daemon=True)
        with self._lock:
            self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while True:
            try:
                browser, _ = self._listener.accept()
            except OSError:
                return
            server = socket.create_connection(("127.0.0.1", self._to))
            with self._lock:
                self._ends += [browser, server]
            self._start(self._pump, browser, server, False)
            self._start(self._pump, server, browser, True)

    def _pump(self, source: socket.socket, to: socket.socket, counts: bool) -> None:
        try:
            while data := source.recv(65536):
                to.sendall(data)
                if counts:
                    with self._lock:
                        self.to_browser += len(data)
        except OSError:
            pass  # the other side went first
        _shut(source)
        _shut(to)


def _shut(end: socket.socket) -> None:
    with contextlib.suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
