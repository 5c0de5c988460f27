"""A picture that was cut off on its way: nothing half is handed out, and what came need not be sent again."""

import itertools
import os
import socket
import time
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import pytest

from server.photos import arriving
from server.photos.files import PhotoFolder
from tests.browser.server_process import ServerProcess
from tests.support.pictures import noise, sha256

MADE = itertools.count()
PATIENCE_S = 20
BUFFERED = 70_000
"""What may not be on the disk yet of bytes that were sent."""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServerProcess]:
    """A real server that can be killed; one for all tests, each with a picture of its own."""
    folder = tmp_path_factory.mktemp("cut")
    started = ServerProcess(folder / "data", folder / "no-app")
    started.start()
    yield started
    started.kill()


@pytest.fixture
def raw() -> bytes:
    """A picture that no other test has."""
    return noise(900 + next(MADE), 700)


def begin(server: ServerProcess, raw: bytes, sent: int, offset: int = 0) -> socket.socket:
    """Opens an upload from a byte on and sends its first bytes only; returns once they lie on the disk."""
    connection = socket.create_connection(("127.0.0.1", server.port))
    connection.sendall(_head(server, sha256(raw), len(raw) - offset, offset) + raw[offset : offset + sent])
    wait_until(lambda: on_their_way(server).get(sha256(raw), -1) >= offset + sent - BUFFERED, "the upload never began")
    return connection


def _head(server: ServerProcess, name: str, length: int, offset: int, method: str = "PUT") -> bytes:
    return (
        f"{method} /api/photos/{name} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"
        f"Authorization: {server.with_token()['Authorization']}\r\nContent-Length: {length}\r\n"
        f"Upload-Offset: {offset}\r\n\r\n"
    ).encode()


def names(server: ServerProcess) -> list[str]:
    """Everything in the folder of pictures."""
    return sorted(path.name for path in (server.data_dir / "photos").iterdir())


def on_their_way(server: ServerProcess) -> dict[str, int]:
    """Everything in the folder of what is arriving, with its bytes."""
    return {path.name: path.stat().st_size for path in (server.data_dir / arriving.FOLDER).iterdir()}


def wait_until(holds: Callable[[], bool], or_else: str) -> None:
    """Until `holds()` is true."""
    until = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < until, or_else
        time.sleep(0.02)


def send(server: ServerProcess, raw: bytes, offset: int = 0, name: str | None = None) -> int:
    """The whole upload from a byte on; its status."""
    with socket.create_connection(("127.0.0.1", server.port)) as connection:
        connection.sendall(_head(server, name or sha256(raw), len(raw) - offset, offset) + raw[offset:])
        return int(connection.makefile("rb").readline().split()[1])


def asked(server: ServerProcess, raw: bytes) -> tuple[int, int]:
    """What HEAD says of the picture: the status, and how much of it need not be sent again."""
    with socket.create_connection(("127.0.0.1", server.port)) as connection:
        connection.sendall(_head(server, sha256(raw), 0, 0, "HEAD"))
        status, *headers = connection.makefile("rb").read().decode().split("\r\n")
    said = [line.partition(": ")[2] for line in headers if line.lower().startswith("upload-offset: ")]
    return int(status.split()[1]), int(said[0]) if said else 0


def test_a_killed_server_hands_out_nothing_half_and_goes_on_where_the_line_was_cut(
    server: ServerProcess, raw: bytes
) -> None:
    with begin(server, raw, len(raw) - 1000):
        assert sha256(raw) not in names(server)
        server.kill()
    server.start()
    assert sha256(raw) not in names(server)
    status, there = asked(server, raw)
    assert status == 404 and len(raw) - 1000 - BUFFERED <= there <= len(raw) - 1000
    assert send(server, raw, there) == 201
    assert sha256(raw) in names(server) and on_their_way(server) == {}
    assert (server.data_dir / "photos" / sha256(raw)).read_bytes() == raw
    assert send(server, raw) == 200 and asked(server, raw) == (200, 0)
    assert on_their_way(server) == {}


def test_a_phone_that_goes_away_in_the_middle_goes_on_from_there_as_often_as_it_takes(
    server: ServerProcess, raw: bytes
) -> None:
    there = 0
    for third in (1, 2):
        upto = len(raw) * third // 3
        begin(server, raw, upto - there, there).close()
        # what had come but was not yet read when the line went is not counted on
        wait_until(lambda upto=upto: upto - 2 * BUFFERED <= asked(server, raw)[1] <= upto, "what came was not kept")
        there = asked(server, raw)[1]
    assert sha256(raw) not in names(server)
    assert send(server, raw, asked(server, raw)[1]) == 201
    assert (server.data_dir / "photos" / sha256(raw)).read_bytes() == raw and on_their_way(server) == {}


def test_a_beginning_that_is_none_of_this_picture_is_told_and_the_whole_is_taken(
    server: ServerProcess, raw: bytes
) -> None:
    """After the power went, what was not on the disk yet may read as zeros: the picture itself is not at fault."""
    (server.data_dir / arriving.FOLDER / sha256(raw)).write_bytes(bytes(1000))
    assert asked(server, raw) == (404, 1000)
    assert send(server, raw, 1000) == 409
    assert asked(server, raw) == (404, 0) and sha256(raw) not in names(server)
    assert send(server, raw) == 201


def test_more_is_not_left_out_than_is_there(server: ServerProcess, raw: bytes) -> None:
    assert send(server, raw, 1) == 409
    begin(server, raw, len(raw) // 2).close()
    wait_until(lambda: asked(server, raw)[1] > 0, "what came was not kept")
    there = asked(server, raw)[1]
    assert send(server, raw, there + 1) == 409
    assert asked(server, raw)[1] == there, "a wrong place must not cost what is there"
    assert send(server, raw, 1000) == 201, "from an earlier byte on is as good"
    assert (server.data_dir / "photos" / sha256(raw)).read_bytes() == raw


async def test_a_clock_put_ahead_takes_no_picture_away_that_is_being_sent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, raw: bytes
) -> None:
    folder, other = PhotoFolder(tmp_path), noise(40, 30)

    async def while_the_clock_jumps() -> AsyncIterator[bytes]:
        yield raw[:9]
        monkeypatch.setattr(arriving.time, "time", lambda: 14 * 365 * 86_400 + tmp_path.stat().st_mtime)
        await folder.take(sha256(other), _in_one(other))
        yield raw[9:]

    await folder.take(sha256(raw), while_the_clock_jumps())
    assert [path.read_bytes() for path in map(folder.find, map(sha256, (raw, other))) if path] == [raw, other]


async def _in_one(raw: bytes) -> AsyncIterator[bytes]:
    yield raw


def test_what_nobody_goes_on_with_is_thrown_away_after_a_week(server: ServerProcess, raw: bytes) -> None:
    other = noise(700, 900)
    begin(server, raw, len(raw) // 2).close()
    wait_until(lambda: asked(server, raw)[1] > 0, "what came was not kept")
    part = server.data_dir / arriving.FOLDER / sha256(raw)
    old_s = time.time() - arriving.KEPT_S
    os.utime(part, (old_s, old_s + 60))
    assert send(server, other) == 201 and part.exists()
    os.utime(part, (old_s, old_s - 60))
    assert send(server, other) == 200 and not part.exists()


def test_a_sender_who_fell_silent_gives_way_to_the_phone_that_comes_back(server: ServerProcess, raw: bytes) -> None:
    """A van drives off: the server has not heard that the old connection is gone."""
    with begin(server, raw, len(raw) // 2) as silent:
        assert asked(server, raw)[1] == 0, "it may still be sending"
        wait_until(lambda: asked(server, raw)[1] > 0, "the silent one was never given up")
        assert send(server, raw, asked(server, raw)[1]) == 201
        silent.sendall(raw[len(raw) // 2 :])
        assert b"409" in silent.makefile("rb").readline()
    assert (server.data_dir / "photos" / sha256(raw)).read_bytes() == raw and on_their_way(server) == {}


def test_a_second_server_on_the_same_record_leaves_what_is_just_arriving(server: ServerProcess, raw: bytes) -> None:
    with begin(server, raw, len(raw) // 2) as connection:
        PhotoFolder(server.data_dir)
        assert len(on_their_way(server)) == 1
        connection.sendall(raw[len(raw) // 2 :])
        assert b"201" in connection.makefile("rb").readline()
    assert sha256(raw) in names(server)


def test_a_picture_of_two_gigabytes_is_refused_by_its_length_alone(server: ServerProcess, raw: bytes) -> None:
    with socket.create_connection(("127.0.0.1", server.port)) as connection:
        connection.sendall(_head(server, sha256(raw), 2_000_000_000, 0) + raw[:1000])
        assert b"413" in connection.makefile("rb").readline()
    assert on_their_way(server) == {} and sha256(raw) not in names(server)


def test_two_at_once_of_one_picture_are_one_file(server: ServerProcess, raw: bytes) -> None:
    with begin(server, raw, len(raw) // 2) as first:
        assert send(server, raw) == 201
        first.sendall(raw[len(raw) // 2 :])
        assert b"200" in first.makefile("rb").readline()
    assert sha256(raw) in names(server) and on_their_way(server) == {}
