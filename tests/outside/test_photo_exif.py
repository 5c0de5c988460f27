"""A photo with a place in it, written by a general EXIF library, comes out clean through the real app.

Sources:
- EXIF as CIPA DC-008 (Exif 2.3) lays it out, written by piexif, which shares no code with what cleans
  (the browser's own decoder and encoder) nor with what checks (Pillow).
- The place is 78° 13' 21" N, 15° 38' 0" E; device and serial number are invented.

Does not prove: anything about phones' own cameras, HEIC, or another browser than Debian's Chromium.
"""

import io

import piexif
import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.conftest import (  # noqa: F401  fixtures
    browser,
    make_server,
    new_context,
    page,
    playwright,
    server,
)
from tests.browser.photo_walks import choose, file_of, open_look, pictures, shelf, status, wait_until_with_shop
from tests.browser.server_process import ServerProcess
from tests.support.pictures import from_a_camera, sha256

pytestmark = pytest.mark.browser
TELLING = (b"Exif", b"GPS", b"Invented Cameras", b"IC-1", b"SN-4711", b"2026:01:02", b"http://ns.adobe.com")


def test_what_the_library_wrote_is_there_before() -> None:
    raw = from_a_camera(1600, 1200)
    written = piexif.load(raw)
    assert written["GPS"][piexif.GPSIFD.GPSLatitude] == ((78, 1), (13, 1), (2100, 100))
    assert Image.open(io.BytesIO(raw)).getexif().get_ifd(0x8825)
    assert sum(each in raw for each in TELLING) >= 5


def test_a_photo_with_a_place_arrives_without_it(page: Page, server: ServerProcess) -> None:  # noqa: F811
    open_look(page)
    choose(page, "Take a photo", file_of(from_a_camera(1600, 1200)))
    expect(shelf(page)).to_have_count(1)
    wait_until_with_shop(page, server)
    [(name, raw)] = pictures(server).items()
    assert name == sha256(raw)
    assert not any(piexif.load(raw)[part] for part in ("0th", "Exif", "GPS", "1st"))
    assert dict(Image.open(io.BytesIO(raw)).getexif()) == {}
    assert [each for each in TELLING if each in raw] == []


def test_the_same_photo_sent_past_the_app_is_refused(server: ServerProcess) -> None:  # noqa: F811
    raw = from_a_camera(1600, 1200)
    assert status(server, "PUT", f"/api/photos/{sha256(raw)}", raw) == 422
    assert pictures(server) == {}
    clean = io.BytesIO()
    piexif.remove(raw, clean)
    assert status(server, "PUT", f"/api/photos/{sha256(clean.getvalue())}", clean.getvalue()) == 201
