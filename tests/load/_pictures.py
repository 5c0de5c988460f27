"""Pictures as large as the app makes them, sent by phones and written straight, for the benchmark `sync`."""

import hashlib
import io
import os
import tempfile
import time
from collections.abc import Awaitable, Callable, Sequence
from functools import cache
from pathlib import Path

from PIL import Image

from server.photos.check import check_picture
from server.store.on_disk import settle_names
from tests.load._phones import Line, together

WIDTH_PX, HEIGHT_PX, QUALITY = 2560, 1920, 85
"""The largest that `pwa/src/photo/make.ts` makes, and how it writes them."""

DENSITY = slice(14, 18)
"""Where a JFIF header says how many dots go to an inch: what makes each a picture of its own."""


@cache
def _first() -> bytes:
    out = io.BytesIO()
    rough = Image.effect_noise((WIDTH_PX // 4, HEIGHT_PX // 4), 90)
    fine = rough.resize((WIDTH_PX, HEIGHT_PX), Image.Resampling.BICUBIC).convert("RGB")
    fine.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()


def picture(number: int) -> bytes:
    """The picture of this number; no two are the same."""
    raw = bytearray(_first())
    raw[DENSITY] = (number + 1).to_bytes(4, "big")
    return bytes(raw)


async def sent(numbers: Sequence[int], phones: int, port: int, token: str) -> float:
    """Seconds until these pictures are taken, each phone sending one after another."""
    return await together([_sending(numbers[each::phones]) for each in range(phones)], port, token)


def _sending(numbers: Sequence[int]) -> Callable[[Line], Awaitable[None]]:
    async def send(line: Line) -> None:
        for raw in map(picture, numbers):
            path = f"/api/photos/{hashlib.sha256(raw).hexdigest()}"
            status, answer = await line.ask("PUT", path, raw, "image/jpeg")
            assert status == 201, answer[:300]

    return send


def straight(folder: Path, numbers: Sequence[int], *, looked_at: bool) -> float:
    """Seconds for the same pictures one after another: hashed, to the disk, named; or looked at too."""
    with tempfile.TemporaryDirectory(dir=folder) as name:
        began = time.perf_counter()
        for raw in map(picture, numbers):
            _write(Path(name), raw, looked_at)
        return time.perf_counter() - began


def _write(folder: Path, raw: bytes, looked_at: bool) -> None:
    path = folder / "arriving"
    with path.open("wb") as file:
        file.write(raw)
        file.flush()
        name = hashlib.sha256(raw).hexdigest()
        if looked_at:
            check_picture(path)
        os.fsync(file.fileno())
    path.rename(folder / name)
    settle_names(folder)
