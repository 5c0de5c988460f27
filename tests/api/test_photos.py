"""Pictures at the server: kept whole under their hash, handed out for ever, and what is refused and why."""

import asyncio
import io
import stat
import threading
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import AsyncTestClient
from PIL import Image, PngImagePlugin

from server.api.edge import BODY_LIMIT_BYTES
from server.photos import files
from server.photos.check import LARGEST_PIXELS
from server.photos.files import LARGEST_BYTES
from tests.api.conftest import in_this_loop
from tests.api.test_error_shape import problem_of
from tests.support.pictures import KINDS, from_a_camera, heic, jpeg_claiming, noise, picture, png_claiming, sha256

Client = AsyncTestClient[Any]


async def put(client: Client, raw: bytes, name: str | None = None) -> Any:
    """Sends a picture to the address of its hash, or to another one."""
    return await client.put(f"/api/photos/{name or sha256(raw)}", content=raw)


def kept(tmp_path: Path) -> list[str]:
    """The names of everything in the folders of pictures and of what is arriving."""
    return sorted(path.name for name in ("photos", "photos_arriving") for path in (tmp_path / "data" / name).iterdir())


@pytest.mark.parametrize("kind", KINDS)
async def test_a_picture_comes_back_as_it_was_sent(client: Client, kind: str) -> None:
    raw = picture(kind)
    stored = await put(client, raw)
    assert stored.status_code == 201
    assert stored.json() == {
        "sha256": sha256(raw), "size_bytes": len(raw),
        "picture": {"mime": KINDS[kind], "width_px": 64, "height_px": 48},
    }
    answer = await client.get(f"/api/photos/{sha256(raw)}")
    assert answer.status_code == 200
    assert answer.content == raw
    assert answer.headers["content-type"] == KINDS[kind]
    assert "immutable" in answer.headers["cache-control"] and "max-age=31536000" in answer.headers["cache-control"]
    assert answer.headers["x-content-type-options"] == "nosniff"


async def test_head_says_the_same_without_the_picture(client: Client) -> None:
    raw = picture()
    assert (await client.head(f"/api/photos/{sha256(raw)}")).status_code == 404
    await put(client, raw)
    whole, head = await client.get(f"/api/photos/{sha256(raw)}"), await client.head(f"/api/photos/{sha256(raw)}")
    assert head.status_code == 200
    assert head.content == b""
    for name in ("content-length", "content-type", "cache-control", "etag"):
        assert head.headers[name] == whole.headers[name], name
    assert int(head.headers["content-length"]) == len(raw)


async def test_sending_a_picture_again_changes_nothing(client: Client, tmp_path: Path) -> None:
    raw = picture()
    assert (await put(client, raw)).status_code == 201
    path = tmp_path / "data" / "photos" / sha256(raw)
    before = path.stat()
    again = await put(client, raw)
    assert again.status_code == 200
    assert again.json()["had"] is True
    assert (path.stat().st_ino, path.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)
    assert kept(tmp_path) == [sha256(raw)]


async def test_only_this_user_may_read_the_pictures(client: Client, tmp_path: Path) -> None:
    raw = picture()
    await put(client, raw)
    folder = tmp_path / "data" / "photos"
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert stat.S_IMODE((folder / sha256(raw)).stat().st_mode) == 0o600


async def test_a_picture_that_is_not_here_is_said_to_be_missing(client: Client) -> None:
    problem = problem_of(await client.get(f"/api/photos/{'a' * 64}"), 404)
    assert problem.code == "no_such_photo"


@pytest.mark.parametrize(
    "name", ["x", "A" * 64, "a" * 63, "a" * 65, "g" * 64, "a" * 64 + "%0A", "%2e%2e%2frecord.sqlite3"]
)
@pytest.mark.parametrize("method", ["GET", "PUT"])
async def test_an_address_that_is_no_hash_names_nothing(client: Client, tmp_path: Path, name: str, method: str) -> None:
    answer = await client.request(method, f"/api/photos/{name}", content=picture() if method == "PUT" else None)
    problem = problem_of(answer, 404 if "%2f" in name else 400)
    assert problem.where.startswith(("path", "the path"))
    assert kept(tmp_path) == []


async def test_another_method_is_told_which_there_are(client: Client) -> None:
    answer = await client.delete(f"/api/photos/{'a' * 64}")
    problem_of(answer, 405)
    assert answer.headers["allow"] == "GET, HEAD, PUT"


def with_comment() -> bytes:
    """A JPEG with words in it."""
    return picture("JPEG", comment=b"Ferry Street 4, second floor")


def png_with_text() -> bytes:
    """A PNG that names an author."""
    words = PngImagePlugin.PngInfo()
    words.add_text("Author", "somebody")
    return picture("PNG", pnginfo=words)


def two_frames(kind: str) -> bytes:
    """A film of two pictures."""
    out = io.BytesIO()
    frames = [Image.new("RGB", (32, 32), colour) for colour in ("red", "blue")]
    frames[0].save(out, kind, save_all=True, append_images=frames[1:], duration=100)
    return out.getvalue()


XMP = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'><exif:GPSLatitude>78,13N</exif:GPSLatitude></x:xmpmeta>"
REFUSED = {
    "nothing": (b"", "not_a_picture"),
    "words": (b"this is no picture", "not_a_picture"),
    "a page": (b"<!doctype html><script>alert(1)</script>", "not_a_picture"),
    "a drawing that can hold scripts": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "not_a_picture"),
    "HEIC": (heic(), "not_a_picture"),
    "GIF": (picture("GIF"), "not_a_picture"),
    "TIFF": (picture("TIFF"), "not_a_picture"),
    "a film": (two_frames("WEBP"), "not_a_picture"),
    "a film of PNGs": (two_frames("PNG"), "not_a_picture"),
    "several pictures in one": (two_frames("MPO"), "not_a_picture"),
    "half a JPEG": (noise(200, 200)[:9000], "picture_damaged"),
    "a JPEG without its last bytes": (noise(200, 200)[:-400], "picture_damaged"),
    "half a PNG": (picture("PNG", 400, 400)[:300], "picture_damaged"),
    "half a WebP": (picture("WEBP", 200, 200)[:-40], "picture_damaged"),
    "EXIF with a place": (from_a_camera(), "picture_carries_data"),
    "EXIF behind the picture": (picture() + from_a_camera(), "picture_carries_data"),
    "XMP": (picture("JPEG", xmp=XMP), "picture_carries_data"),
    "a comment": (with_comment(), "picture_carries_data"),
    "EXIF in a PNG": (picture("PNG", exif=b"Exif\0\0MM\0*\0\0\0\x08\0\0\0\0\0\0"), "picture_carries_data"),
    "text in a PNG": (png_with_text(), "picture_carries_data"),
    "EXIF in a WebP": (picture("WEBP", exif=b"Exif\0\0MM\0*\0\0\0\x08\0\0\0\0\0\0"), "picture_carries_data"),
    "XMP in a WebP": (picture("WEBP", xmp=XMP), "picture_carries_data"),
}


@pytest.mark.parametrize("offset", ["-1", "1.5", "x", "", "9" * 400, str(LARGEST_BYTES + 1)])
async def test_a_place_that_is_none_in_a_picture_is_refused(client: Client, tmp_path: Path, offset: str) -> None:
    raw = picture()
    answer = await client.put(f"/api/photos/{sha256(raw)}", content=raw, headers={"Upload-Offset": offset})
    assert problem_of(answer, 400).where == "the header Upload-Offset"
    assert kept(tmp_path) == []


@pytest.mark.parametrize("what", REFUSED)
async def test_what_is_no_clean_whole_picture_is_refused_and_nothing_is_left(
    client: Client, tmp_path: Path, what: str
) -> None:
    raw, code = REFUSED[what]
    problem = problem_of(await put(client, raw), 422)
    assert problem.code == code, problem
    assert problem.given and problem.expected and problem.example
    assert kept(tmp_path) == []
    assert (await client.get(f"/api/photos/{sha256(raw)}")).status_code == 404


async def test_bytes_that_are_not_what_the_address_names_are_refused(client: Client, tmp_path: Path) -> None:
    raw, other = picture(), picture("PNG")
    problem = problem_of(await put(client, raw, sha256(other)), 422)
    assert problem.code == "hash_differs"
    assert problem.given == sha256(raw)
    assert sha256(other) in problem.expected
    assert kept(tmp_path) == []


async def test_wrong_bytes_do_not_replace_a_picture_that_is_there(client: Client, tmp_path: Path) -> None:
    raw = picture()
    await put(client, raw)
    problem_of(await put(client, picture("PNG"), sha256(raw)), 422)
    assert (await client.get(f"/api/photos/{sha256(raw)}")).content == raw
    assert kept(tmp_path) == [sha256(raw)]


@pytest.mark.parametrize(
    "raw", [png_claiming(20_000, 10_000), jpeg_claiming(20_000, 10_000), png_claiming(60_000, 60_000)]
)
async def test_too_many_pixels_are_refused_by_the_header_alone(
    client: Client, tmp_path: Path, raw: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: Any) -> None:
        raise AssertionError("the picture was unpacked")

    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", never)
    monkeypatch.setattr("PIL.PngImagePlugin.PngImageFile.load", never, raising=False)
    problem = problem_of(await put(client, raw), 413)
    assert problem.code == "too_many_pixels"
    assert str(LARGEST_PIXELS) in problem.expected
    assert kept(tmp_path) == []


@pytest.mark.parametrize("in_pieces", [False, True])
async def test_a_body_over_the_limit_is_refused_and_only_this_route_has_that_limit(
    tmp_path: Path, in_pieces: bool
) -> None:
    raw = bytes(LARGEST_BYTES + 1)

    async def pieces() -> AsyncIterator[bytes]:
        for at in range(0, len(raw), 1_000_000):
            yield raw[at : at + 1_000_000]

    async with in_this_loop(tmp_path / "data") as client:
        body = pieces() if in_pieces else raw
        problem = problem_of(await client.put(f"/api/photos/{sha256(raw)}", content=body), 413)
        assert problem.code == "too_large"
        assert str(LARGEST_BYTES) in problem.expected
        assert kept(tmp_path) == []
        assert BODY_LIMIT_BYTES < LARGEST_BYTES
        between = b" " * (BODY_LIMIT_BYTES + 1)
        other = await client.post("/api/changes", content=between, headers={"Content-Type": "application/json"})
        assert str(BODY_LIMIT_BYTES) in problem_of(other, 413).expected


async def test_a_large_picture_under_the_limit_is_taken(client: Client) -> None:
    raw = noise(2560, 1920)
    assert BODY_LIMIT_BYTES / 4 < len(raw) < LARGEST_BYTES
    assert (await put(client, raw)).status_code == 201


async def test_a_full_disk_is_said_and_leaves_nothing(
    client: Client, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("server.photos.files.os.fsync", full)
    problem = problem_of(await put(client, picture()), 507)
    assert problem.code == "disk_full"
    assert kept(tmp_path) == []


async def test_pictures_are_unpacked_by_two_threads_that_do_nothing_else(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    # what one took to unpack a picture stays with the thread: with each of forty it was hundreds of megabytes
    hashed: set[int] = set()
    unpacked: set[int] = set()
    for name, threads in (("_hash_of", hashed), ("check_picture", unpacked)):
        monkeypatch.setattr(files, name, _noting_its_thread(getattr(files, name), threads))
    answers = await asyncio.gather(*(put(client, picture(width=64 + n)) for n in range(12)))
    assert {answer.status_code for answer in answers} == {201}
    assert hashed and len(unpacked) in (1, 2)
    assert hashed.isdisjoint(unpacked)


def _noting_its_thread(work: Callable[[Path], Any], threads: set[int]) -> Callable[[Path], Any]:
    def noting(path: Path) -> Any:
        threads.add(threading.get_ident())
        return work(path)

    return noting
