"""A picture that was cut off on its way: nothing half is there, and sending it again brings it whole."""

import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from server.photos.files import PhotoFolder
from tests.support.pictures import noise, sha256
from tests.sync.process import ServerProcess, free_port

PATIENCE_S = 20


@pytest.fixture
def server(tmp_path: Path) -> Iterator[ServerProcess]:
    """A real server that can be killed."""
    started = ServerProcess(tmp_path / "data", free_port())
    started.data_dir.mkdir()
    started.start()
    yield started
    if started.process is not None:
        started.kill()


def begin(server: ServerProcess, raw: bytes, sent: int) -> socket.socket:
    """Opens an upload and sends its first bytes only; returns once they lie on the disk."""
    connection = socket.create_connection(("127.0.0.1", server.port))
    connection.sendall(
        f"PUT /api/photos/{sha256(raw)} HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {server.token}\r\n"
        f"Content-Length: {len(raw)}\r\n\r\n".encode()
    )
    connection.sendall(raw[:sent])
    wait_until(lambda: names(server) != [], "the upload never began")
    return connection


def names(server: ServerProcess) -> list[str]:
    """Everything in the folder of pictures."""
    return sorted(path.name for path in (server.data_dir / "photos").iterdir())


def wait_until(holds: Callable[[], bool], or_else: str) -> None:
    """Until `holds()` is true."""
    until = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < until, or_else
        time.sleep(0.02)


def send(server: ServerProcess, raw: bytes) -> int:
    """The whole upload; its status."""
    with socket.create_connection(("127.0.0.1", server.port)) as connection:
        connection.sendall(
            f"PUT /api/photos/{sha256(raw)} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"
            f"Authorization: Bearer {server.token}\r\nContent-Length: {len(raw)}\r\n\r\n".encode() + raw
        )
        return int(connection.makefile("rb").readline().split()[1])


def test_a_killed_server_leaves_nothing_half_and_takes_it_whole_afterwards(server: ServerProcess) -> None:
    raw = noise(900, 700)
    with begin(server, raw, len(raw) - 1000):
        assert sha256(raw) not in names(server)
        server.kill()
    assert sha256(raw) not in names(server)
    server.start()
    assert names(server) == []
    assert send(server, raw) == 201
    assert names(server) == [sha256(raw)]
    assert (server.data_dir / "photos" / sha256(raw)).read_bytes() == raw
    assert send(server, raw) == 200


def test_a_phone_that_goes_away_in_the_middle_leaves_nothing(server: ServerProcess) -> None:
    raw = noise(900, 700)
    begin(server, raw, len(raw) // 2).close()
    wait_until(lambda: names(server) == [], "the half picture stayed")
    assert send(server, raw) == 201


def test_a_second_server_on_the_same_record_leaves_what_is_just_arriving(server: ServerProcess) -> None:
    raw = noise(900, 700)
    with begin(server, raw, len(raw) // 2) as connection:
        PhotoFolder(server.data_dir)
        assert len(names(server)) == 1
        connection.sendall(raw[len(raw) // 2 :])
        assert b"201" in connection.makefile("rb").readline()
    assert names(server) == [sha256(raw)]


def test_two_at_once_of_one_picture_are_one_file(server: ServerProcess) -> None:
    raw = noise(900, 700)
    with begin(server, raw, len(raw) // 2) as first:
        assert send(server, raw) == 201
        first.sendall(raw[len(raw) // 2 :])
        assert b"200" in first.makefile("rb").readline()
    assert names(server) == [sha256(raw)]
