"""Pictures made for tests, clean ones and ones that tell where and with what they were taken."""

import hashlib
import io
import zlib
from typing import Any

import piexif
from PIL import Image

KINDS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}


def sha256(raw: bytes) -> str:
    """The name of a picture at the server."""
    return hashlib.sha256(raw).hexdigest()


def drawn(width: int = 64, height: int = 48, colour: tuple[int, int, int] = (200, 120, 40)) -> Image.Image:
    """A plain picture whose left upper quarter is dark, so that a turned one can be told."""
    picture = Image.new("RGB", (width, height), colour)
    picture.paste((10, 20, 30), (0, 0, width // 2, height // 2))
    return picture


def picture(kind: str = "JPEG", width: int = 64, height: int = 48, **how: Any) -> bytes:
    """The bytes of a drawn picture; `how` goes to the library that writes it."""
    out = io.BytesIO()
    drawn(width, height).save(out, kind, **how)
    return out.getvalue()


def noise(width: int, height: int) -> bytes:
    """A JPEG whose length comes near the largest that its size can have."""
    out = io.BytesIO()
    Image.effect_noise((width, height), 90).convert("RGB").save(out, "JPEG", quality=95)
    return out.getvalue()


def telling_exif(orientation: int = 1) -> bytes:
    """EXIF with a place (78° N 15° E, in the sea), a device and a time, written by piexif."""
    degrees = ((78, 1), (13, 1), (2100, 100))
    return piexif.dump({
        "0th": {
            piexif.ImageIFD.Make: b"Invented Cameras", piexif.ImageIFD.Model: b"IC-1",
            piexif.ImageIFD.Orientation: orientation, piexif.ImageIFD.Software: b"bench",
        },
        "Exif": {piexif.ExifIFD.DateTimeOriginal: b"2026:01:02 03:04:05", piexif.ExifIFD.BodySerialNumber: b"SN-4711"},
        "GPS": {
            piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: degrees,
            piexif.GPSIFD.GPSLongitudeRef: b"E", piexif.GPSIFD.GPSLongitude: ((15, 1), (38, 1), (0, 1)),
        },
    })


def from_a_camera(width: int = 64, height: int = 48, orientation: int = 1) -> bytes:
    """A JPEG as a phone's camera leaves it: with `telling_exif`."""
    return picture("JPEG", width, height, exif=telling_exif(orientation))


def png_claiming(width: int, height: int) -> bytes:
    """A small PNG whose header says it is `width` x `height`."""
    raw = bytearray(picture("PNG"))
    raw[16:24] = width.to_bytes(4, "big") + height.to_bytes(4, "big")
    raw[29:33] = zlib.crc32(raw[12:29]).to_bytes(4, "big")
    return bytes(raw)


def jpeg_claiming(width: int, height: int) -> bytes:
    """A small JPEG whose frame header says it is `width` x `height`."""
    raw = bytearray(picture("JPEG"))
    frame = raw.index(b"\xff\xc0")
    raw[frame + 5 : frame + 9] = height.to_bytes(2, "big") + width.to_bytes(2, "big")
    return bytes(raw)


def heic() -> bytes:
    """The beginning of a HEIC file; the rest no browser here gets to."""
    return b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 400
