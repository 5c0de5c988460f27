"""Is this a picture that may be kept? Asked of the finished file, before it gets its name.

Decides: the kinds, the size in pixels, and that nothing is in it but the picture: a camera writes its
owner's place, time and device into a file, and cleaning it here would change the hash that the phone
already holds. The header alone says how large a picture is; only then is it unpacked, so a small file
that would unpack to gigabytes is refused unopened.
"""

from pathlib import Path
from typing import Annotated, Any, Literal

from msgspec import Meta
from PIL import Image, UnidentifiedImageError

from server.problems import Refusal
from shared_models.base import Model
from shared_models.change import Problem

LARGEST_PIXELS = 24_000_000
"""Width times height. The app sends at most 2560 px on the long side, under 7 million; unpacked this
limit is some 72 MB."""

MIME_OF = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
"""The kinds, by the library's names; the same as in `shared_models.job.Photo.mime`."""

EXAMPLE = "a JPEG of 2560 x 1920 pixels as the app makes it"

# This module's own limit is asked of the header and is far lower; the library's would only warn.
Image.MAX_IMAGE_PIXELS = None

_CLEAN_JPEG_SEGMENTS = (("APP0", b"JFIF"), ("APP0", b"JFXX"), ("APP2", b"ICC_PROFILE"), ("APP14", b"Adobe"))
_SIGNATURES = {b"Exif\0\0": "EXIF", b"http://ns.adobe.com/xap/": "XMP", b"http://ns.adobe.com/xmp/": "XMP"}
_INFO = {"exif": "EXIF", "xmp": "XMP", "XML:com.adobe.xmp": "XMP", "photoshop": "IPTC", "comment": "a comment"}


class Picture(Model, frozen=True, kw_only=True):
    """What a picture is, read from the file itself."""

    mime: Literal["image/jpeg", "image/png", "image/webp"]
    width_px: Annotated[int, Meta(gt=0)]
    height_px: Annotated[int, Meta(gt=0)]


def check_picture(path: Path) -> Picture:
    """What the picture in `path` is. Unpacks it once, in this thread.

    Raises:
        Refusal: 422 `not_a_picture`, `picture_damaged` or `picture_carries_data`; 413 `too_many_pixels`.
    """
    try:
        opened = Image.open(path, formats=list(MIME_OF))
    except UnidentifiedImageError as error:
        raise _not_a_picture(path) from error
    except Exception as error:  # what a malformed header makes the library's parsers raise is not listed anywhere
        raise _damaged(error) from error
    with opened as image:
        if image.format not in MIME_OF or getattr(image, "n_frames", 1) != 1:
            raise _not_a_picture(path)  # a film, or several pictures in one file
        width, height = image.size
        if width * height > LARGEST_PIXELS:
            raise Refusal(413, Problem(
                code="too_many_pixels", message="The picture has more pixels than are unpacked here.",
                where="the picture's header", given=f"{width} x {height} pixels",
                expected=f"at most {LARGEST_PIXELS} pixels", example=EXAMPLE,
            ))
        try:
            image.load()
        except Exception as error:
            raise _damaged(error) from error
        if carried := _carried(image, path.read_bytes()):
            raise Refusal(422, Problem(
                code="picture_carries_data",
                message="More than the picture is in the file: a place or a device could be told by it.",
                where="the whole body", given=", ".join(carried),
                expected="a picture without EXIF, XMP or comments, its hash taken after they were removed",
                example=EXAMPLE,
            ))
        return Picture(mime=MIME_OF[image.format], width_px=width, height_px=height)  # type: ignore[arg-type]


def _carried(image: Any, raw: bytes) -> list[str]:
    """What is in the file beside the picture, by its usual names; after `load`, for what stands behind it."""
    found = {words for key, words in _INFO.items() if image.info.get(key)}
    found |= {words for signature, words in _SIGNATURES.items() if signature in raw}
    if getattr(image, "text", None):
        found.add("text")
    for name, content in getattr(image, "applist", ()):
        if not any(name == clean and content.startswith(begin) for clean, begin in _CLEAN_JPEG_SEGMENTS):
            found.add(f"the segment {name}")
    return sorted(found)


def _not_a_picture(path: Path) -> Refusal:
    with path.open("rb") as file:
        begin = file.read(12)
    return Refusal(422, Problem(
        code="not_a_picture", message="This is no picture that can be kept here.", where="the whole body",
        given=f"bytes that begin with {begin.hex(' ')}" if begin else "nothing",
        expected=f"one picture, {', '.join(MIME_OF.values())}", example=EXAMPLE,
    ))


def _damaged(error: Exception) -> Refusal:
    return Refusal(422, Problem(
        code="picture_damaged", message="The picture is damaged or cut short.", where="the whole body",
        given=str(error)[:120], expected="the whole file of a picture that can be unpacked", example=EXAMPLE,
    ))
