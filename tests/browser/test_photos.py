"""Photos on the screens: taken, chosen, dropped, shown, said with what was seen, and refused in a sentence."""

import io

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.chromium_process import ChromiumProcess
from tests.browser.photo_walks import (
    choose,
    drawn,
    drop,
    file_of,
    of_job,
    open_look,
    paste,
    pick,
    pictures,
    records,
    shelf,
    until,
    wait_until_with_shop,
)
from tests.browser.seeds import JOB_ID
from tests.browser.server_process import ServerProcess
from tests.browser.test_screens_shape import SERIOUS, SIDEWAYS, SMALL_TARGETS, TARGET_PX
from tests.browser.walks import JOB, go, wait_for_shop
from tests.support.pictures import from_a_camera, heic, jpeg_claiming, noise, picture, png_claiming, sha256


def test_a_photo_from_the_camera_is_shown_and_arrives_small_upright_and_clean(
    page: Page, server: ServerProcess
) -> None:
    """A camera held upright writes the picture lying and says so in EXIF (orientation 6: turn it to the right)."""
    open_look(page)
    lying = from_a_camera(4000, 3000, orientation=6)
    choose(page, "Take a photo", file_of(lying))
    expect(shelf(page)).to_have_count(1)
    assert drawn(shelf(page).first)
    wait_until_with_shop(page, server)
    [(name, raw)] = pictures(server).items()
    assert name == sha256(raw)
    arrived = Image.open(io.BytesIO(raw))
    assert arrived.size == (1920, 2560)
    # the dark quarter was left above; turned to the right it is right above
    assert sum(arrived.getpixel((1900, 20))) < 120 < sum(arrived.getpixel((20, 20)))  # type: ignore[arg-type]
    assert len(arrived.getexif()) == 0
    [photo] = records(server, "photo")
    assert of_job(photo)
    kept = {key: photo[key] for key in ("sha256", "mime", "size_bytes", "width_px", "height_px")}
    assert kept == {
        "sha256": name, "mime": "image/jpeg", "size_bytes": len(raw), "width_px": 1920, "height_px": 2560,
    }


def test_the_camera_button_asks_for_the_camera_and_the_other_does_not(page: Page) -> None:
    open_look(page)
    for button, wanted in (("Take a photo", "environment"), ("From files", None)):
        with page.expect_file_chooser() as opened:
            page.get_by_role("button", name=button, exact=True).click()
        assert opened.value.element.get_attribute("capture") == wanted
        assert opened.value.is_multiple() is (button == "From files")


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_kinds_and_several_at_once_become_clean_jpegs(page: Page, server: ServerProcess, kind: str) -> None:
    open_look(page)
    first, second = picture(kind, 300, 200), picture(kind, 200, 300)
    choose(page, "From files", file_of(first, "a", ""), file_of(second, "b", ""))
    expect(shelf(page)).to_have_count(2)
    wait_until_with_shop(page, server, 2)
    sizes = {Image.open(io.BytesIO(raw)).size for raw in pictures(server).values()}
    assert sizes == {(300, 200), (200, 300)}
    assert {photo["mime"] for photo in records(server, "photo")} == {"image/jpeg"}


def test_a_picture_dropped_on_the_desk_page_goes_into_the_open_job(page: Page, server: ServerProcess) -> None:
    page.set_viewport_size({"width": 1280, "height": 800})
    wait_for_shop(page)
    go(page, f"{JOB}/opinion")
    expect(page.locator("main").first).to_be_visible()
    words = file_of(b"no", "notes.txt", "text/plain")
    drop(page, file_of(picture("PNG", 640, 480), "microscope.png", "image/png"), words)
    expect(page.get_by_text("1 photo added to this job.")).to_be_visible()
    expect(page.get_by_text('"notes.txt" (text/plain, 2 bytes) is no picture that can be read here.')).to_be_visible()
    found = Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in SERIOUS] == []
    page.get_by_role("link", name="To the photos", exact=True).click()
    expect(shelf(page)).to_have_count(1)
    wait_until_with_shop(page, server)
    [photo] = records(server, "photo")
    assert of_job(photo)
    assert list(pictures(server)) == [photo["sha256"]]


def test_a_picture_pasted_goes_into_the_open_job_and_pasted_words_stay_words(page: Page, server: ServerProcess) -> None:
    open_look(page)
    words = page.get_by_label("contacts", exact=True)
    # a program's copy holds words and a picture of them: in a field the words are meant
    both = file_of(picture("PNG"), "copy.png", "image/png")
    assert paste(page, words, [both], "3") == "left to the browser"
    assert paste(page, page.locator("main"), [file_of(picture("PNG", 320, 200), "image.png", "image/png")]) == "taken"
    expect(page.get_by_text("1 photo added to this job.")).to_be_visible()
    page.get_by_role("button", name="Close").click()
    expect(shelf(page)).to_have_count(1)
    wait_until_with_shop(page, server)
    [raw] = pictures(server).values()
    assert Image.open(io.BytesIO(raw)).size == (320, 200)


def test_a_picture_dropped_beside_a_job_takes_the_place_of_nothing(page: Page) -> None:
    wait_for_shop(page)
    assert drop(page, file_of(picture())) == ["stopped", "stopped"]
    go(page, f"{JOB}/read")
    expect(page.locator("main").first).to_be_visible()
    assert drop(page, file_of(picture())) == ["stopped", "stopped"]


def test_a_healthy_board_is_photographed_too(page: Page, server: ServerProcess) -> None:
    wait_for_shop(page)
    page.evaluate("() => { location.hash = '#/take-in/healthy'; }")
    page.get_by_label("Where it lies, what it is called").fill("shelf 9")
    page.get_by_role("radio", name="Test device").check()
    page.get_by_role("button", name="Make it safe, then read it").click()
    page.get_by_role("link", name="Back to the job sheet").click()
    expect(page.get_by_role("heading", name="shelf 9")).to_be_visible()
    page.get_by_role("link", name="Look: no photos yet").click()
    expect(page.get_by_role("heading", name="What was seen")).to_have_count(0)
    choose(page, "From files", file_of(picture()))
    expect(shelf(page)).to_have_count(1)
    wait_until_with_shop(page, server)


BAD = {
    "words": (file_of(b"just words", "notes.txt", "text/plain"), "is no picture that can be read here"),
    "words named like a picture": (file_of(b"just words, no picture", "x.jpg"), "is no picture that can be read here"),
    "nothing": (file_of(b"", "empty.jpg"), "is no picture that can be read here"),
    "HEIC": (file_of(heic(), "IMG_1.heic", "image/heic"), "is a HEIC picture, which this browser cannot read"),
    "200 megapixels": (file_of(jpeg_claiming(20_000, 10_000), "wall.jpg"), "20000 × 10000 pixels, 200 megapixels"),
    "a PNG that unpacks to gigabytes": (file_of(png_claiming(60_000, 60_000), "wall.png"), "3600 megapixels"),
    "a JPEG cut short": (file_of(noise(200, 200)[:-300], "half.jpg"), "breaks off before its end"),
    "a PNG cut short": (file_of(picture("PNG", 300, 300)[:-40], "half.png"), "breaks off before its end"),
    "a WebP cut short": (file_of(picture("WEBP", 300, 300)[:-40], "half.webp"), "breaks off before its end"),
    "a damaged PNG": (
        file_of(picture("PNG")[:40] + b"\0" * 20 + picture("PNG")[60:], "bad.png"), "is damaged or breaks off",
    ),
}


def test_what_is_no_usable_picture_is_said_in_a_sentence_and_nothing_is_kept(page: Page, server: ServerProcess) -> None:
    open_look(page)
    for what, (file, sentence) in BAD.items():
        choose(page, "From files", file)
        alert = page.get_by_role("alert")
        expect(alert, what).to_contain_text(sentence)
        expect(alert, what).to_contain_text(f'"{file["name"]}"')
        for part in ("Expected ", "for example "):
            expect(alert, what).to_contain_text(part)
    expect(shelf(page)).to_have_count(0)
    choose(page, "From files", file_of(picture("PNG") + b"left by some program", "odd.png"))
    expect(page.get_by_role("alert")).to_have_count(0)
    expect(shelf(page)).to_have_count(1)
    wait_until_with_shop(page, server)
    assert len(records(server, "photo")) == len(pictures(server)) == 1


def test_what_was_seen_goes_with_its_photo_in_one_step(page: Page, server: ServerProcess) -> None:
    open_look(page)
    pick(page, "seen").select_option("bent")
    page.get_by_label("contacts", exact=True).fill("3, 4")
    pick(page, "on").select_option("module_plug")
    choose(page, "Add with camera", file_of(from_a_camera()))
    row = page.get_by_role("listitem").filter(has_text="bent on the plug: 3 and 4")
    assert drawn(row.locator("img"))
    expect(page.get_by_label("contacts", exact=True)).to_have_value("")
    row.get_by_role("link").click()
    expect(page.get_by_text("bent on the plug: 3 and 4")).to_be_visible()
    assert drawn(page.locator("main img"))
    wait_until_with_shop(page, server)
    [photo], [seen] = records(server, "photo"), records(server, "observation")
    assert seen["photo_id"] == photo["id"]
    assert (seen["seen"], seen["contacts"], seen["subject"]) == ("bent", ["3", "4"], "module_plug")


def test_what_was_seen_can_name_a_photo_that_is_there_or_none(page: Page, server: ServerProcess) -> None:
    open_look(page)
    choose(page, "From files", file_of(picture()))
    expect(shelf(page)).to_have_count(1)
    page.get_by_label("contacts", exact=True).fill("2")
    pick(page, "seen in").select_option(index=1)
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_role("listitem").filter(has_text="burnt: 2").locator("img")).to_have_count(1)
    pick(page, "seen").select_option("wet")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_role("listitem").filter(has_text="wet or corroded").locator("img")).to_have_count(0)
    until(page, lambda: len(records(server, "observation")) == 2, "what was seen did not arrive")
    [photo] = records(server, "photo")
    assert [seen.get("photo_id") for seen in records(server, "observation")] == [photo["id"], None]


def test_a_contact_that_is_not_there_opens_no_camera(page: Page) -> None:
    open_look(page)
    page.get_by_label("contacts", exact=True).fill("99")
    opened: list[object] = []
    page.on("filechooser", lambda chooser: opened.append(chooser))
    page.get_by_role("button", name="Add with camera").click()
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("99: no such contact on J1. Expected its contacts; for example 1, 2.")
    assert opened == []


def test_a_photo_taken_back_is_gone_from_the_sheet(page: Page) -> None:
    open_look(page)
    choose(page, "From files", file_of(picture()))
    shelf(page).first.click()
    page.get_by_role("button", name="Take it back").click()
    page.get_by_role("button", name="Yes, take it back").click()
    expect(page.get_by_role("heading", name="Photos")).to_be_visible()
    expect(shelf(page)).to_have_count(0)


def test_a_page_killed_while_the_camera_was_open_comes_back_to_what_was_being_said(
    phone_on_disk: ChromiumProcess, server: ServerProcess
) -> None:
    page = phone_on_disk.open(server.url)
    open_look(page)
    pick(page, "seen").select_option("lifted")
    page.get_by_label("contacts", exact=True).fill("5, 6")
    with page.expect_file_chooser():
        page.get_by_role("button", name="Add with camera").click()
    phone_on_disk.kill()

    page = phone_on_disk.open(server.url)  # at the bench, where a phone starts the app again
    expect(page.get_by_text("The page was closed while the camera was open")).to_be_visible()
    expect(pick(page, "seen")).to_have_value("lifted")
    expect(page.get_by_label("contacts", exact=True)).to_have_value("5, 6")
    choose(page, "Add with camera", file_of(from_a_camera()))
    row = page.get_by_role("listitem").filter(has_text="pad or contact lifted: 5 and 6")
    assert drawn(row.locator("img"))
    expect(page.get_by_text("The page was closed while")).to_have_count(0)
    phone_on_disk.kill()

    page = phone_on_disk.open(server.url)  # it is a record now: nothing is resumed, and it is there once
    wait_for_shop(page)
    open_look(page)
    expect(page.get_by_text("The page was closed while")).to_have_count(0)
    assert drawn(page.get_by_role("listitem").filter(has_text="pad or contact lifted").locator("img"))
    expect(shelf(page)).to_have_count(1)


def test_a_photo_without_words_is_resumed_too_and_can_be_left(
    phone_on_disk: ChromiumProcess, server: ServerProcess
) -> None:
    page = phone_on_disk.open(server.url)
    open_look(page)
    with page.expect_file_chooser():
        page.get_by_role("button", name="Take a photo").click()
    phone_on_disk.kill()
    page = phone_on_disk.open(server.url)
    expect(page.get_by_text("no picture came back. Take it again")).to_be_visible()
    assert JOB_ID in page.url
    page.get_by_role("button", name="Leave it").click()
    expect(page.get_by_text("no picture came back")).to_have_count(0)
    page.goto(f"{server.url}/#/")
    page.reload()
    wait_for_shop(page)


def test_the_screens_with_photos_keep_their_shape(page: Page) -> None:
    open_look(page)
    for colour in range(5):
        choose(page, "From files", file_of(picture("JPEG", 900 + colour, 600)))
        expect(shelf(page)).to_have_count(colour + 1)
    page.get_by_label("contacts", exact=True).fill("3, 4")
    choose(page, "Add with a file", file_of(picture("JPEG", 400, 900)))
    expect(page.get_by_role("listitem").filter(has_text="burnt: 3 and 4").locator("img")).to_have_count(1)
    choose(page, "From files", file_of(b"no", "a-rather-long-name-of-a-file-that-is-no-picture.txt", "text/plain"))
    expect(page.get_by_role("alert")).to_be_visible()
    for screen in ("look", "photo"):
        if screen == "photo":
            shelf(page).first.click()
            expect(page.get_by_role("button", name="Take it back")).to_be_visible()
            assert drawn(page.locator("main img"))
            page.get_by_role("button", name="Take it back").click()
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            assert page.evaluate(SIDEWAYS) == [], screen
            assert page.evaluate(SMALL_TARGETS, TARGET_PX) == [], screen
            found = Axe().run(page).response["violations"]
            assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found if one["impact"] in SERIOUS] == []


def test_a_job_without_a_board_shows_at_once_what_is_put_into_it(page: Page) -> None:
    wait_for_shop(page)
    go(page, "#/take-in")
    page.get_by_label("What and whose").fill("No board yet")
    page.get_by_role("button", name="Take it in").click()
    page.get_by_role("link", name="Look").click()
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_role("listitem").filter(has_text="burnt")).to_have_count(1)
    choose(page, "From files", file_of(picture()))
    expect(shelf(page)).to_have_count(1)
