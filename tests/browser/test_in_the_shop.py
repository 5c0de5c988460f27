"""A phone in a shop: the app over HTTPS with the shop's own authority, paired by its code, alone, and taken out.

The authority lies in an NSS store of the browser's own, where Debian's Chromium looks for those it trusts; the
names a router would know are given to the browser by a rule.
"""

import datetime as dt
import http.server
import ssl
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from playwright.sync_api import Browser, BrowserContext, Error, Page, Playwright, Route, expect

from server.network.authority import in_one_file, open_authority, write_whole
from server.network.leaf import sign
from tests.browser.chromium_process import LAUNCH_FLAGS
from tests.browser.conftest import PHONE
from tests.browser.overheard import Asked
from tests.browser.trusting import home_that_trusts
from tests.browser.walks import wait_for_engine
from tests.network.shop_process import ShopProcess

NAME = "probe.lan"
FOREIGN = "www.example.com"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, app_dir: Path) -> Iterator[ShopProcess]:
    started = ShopProcess(tmp_path_factory.mktemp("shop"), "--name", NAME, app=app_dir).start()
    started.wait_for("Later: secondprobe pair")
    yield started
    started.stop()


@pytest.fixture(scope="module")
def owner(shop: ShopProcess) -> str:
    """The token of an owner's phone."""
    return shop.pair_first()


@pytest.fixture(scope="module")
def trusting(
    playwright: Playwright, chromium_path: str, shop: ShopProcess, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Browser]:
    """A browser that trusts the shop's authority and knows two names."""
    home = home_that_trusts(shop.data_dir, tmp_path_factory.mktemp("home"))
    rules = f"MAP {NAME} 127.0.0.1, MAP {FOREIGN} 127.0.0.1"
    started = playwright.chromium.launch(
        executable_path=chromium_path, args=[*LAUNCH_FLAGS, f"--host-resolver-rules={rules}"], env=home,
    )
    yield started
    started.close()


@pytest.fixture
def phone(trusting: Browser) -> Iterator[BrowserContext]:
    context = trusting.new_context(viewport=PHONE, has_touch=True, locale="en-GB")
    yield context
    context.close()


def address(shop: ShopProcess) -> str:
    return f"https://{NAME}:{shop.port}"


def code_for(shop: ShopProcess, owner: str, name: str) -> dict[str, str]:
    """What an owner's phone gets for one more phone."""
    status, made = shop.ask("POST", "/api/codes", {"phone_name": name, "technician": "Ada"}, owner)
    assert status == 201
    return made


def pair(page: Page, shop: ShopProcess, owner: str, name: str) -> None:
    """What scanning the code's picture does: its text is opened, and the button pressed."""
    page.goto(code_for(shop, owner, name)["link"])
    page.get_by_role("button", name="Pair this phone").click()
    expect(page.get_by_text(f"This phone is in, as {name}.")).to_be_visible()


def go(page: Page, where: str) -> None:
    page.evaluate("(where) => { location.hash = where; }", where)


def test_it_is_a_secure_place_with_a_service_worker_a_camera_and_only_its_own_origin(
    shop: ShopProcess, owner: str, phone: BrowserContext
) -> None:
    page, asked = phone.new_page(), Asked()
    asked.listen(page)
    pair(page, shop, owner, "secure phone")
    assert page.evaluate("() => isSecureContext && navigator.serviceWorker.ready.then(({ active }) => active !== null)")
    assert page.evaluate("() => typeof navigator.mediaDevices?.getUserMedia") == "function"
    go(page, "#/take-in")
    go(page, "#/shop")
    expect(page.get_by_text("Paired as secure phone.")).to_be_visible()
    expect(page.locator("#actor")).to_have_value("Ada")
    wait_for_engine(page)
    assert asked.origins == {address(shop)}
    assert "Authorization" not in page.content() and "#/pair/" not in page.url


def test_a_used_code_is_told_and_nothing_is_lost(shop: ShopProcess, owner: str, phone: BrowserContext) -> None:
    made = code_for(shop, owner, "first")
    assert shop.ask("POST", "/api/pair", {"code": made["code"]})[0] == 200
    page = phone.new_page()
    page.goto(f"{address(shop)}/")
    expect(page.get_by_text("This phone is not paired yet")).to_be_visible()
    page.get_by_role("link", name="Pair this phone").click()
    page.get_by_label("The code").fill(made["code"].lower())
    page.get_by_role("button", name="Pair this phone").click()
    expect(page.get_by_role("alert")).to_contain_text("used already")


def test_offline_work_goes_to_the_shop_later_and_a_phone_that_is_taken_out_keeps_its_own(
    shop: ShopProcess, owner: str, phone: BrowserContext
) -> None:
    page = phone.new_page()
    pair(page, shop, owner, "van")
    page.evaluate("() => navigator.serviceWorker.ready.then(() => undefined)")
    page.goto(f"{address(shop)}/#/shop")
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    phone.set_offline(True)
    page.reload()
    add_a_meter(page, "Meter one")
    go(page, "#/shop")
    expect(page.get_by_text("1 edit waiting for the shop")).to_be_visible()
    phone.set_offline(False)
    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()

    phones = shop.ask("GET", "/api/phones", token=owner)[1]["phones"]
    van = next(one for one in phones if one["name"] == "van")
    assert van["last_synced_at_ms"] > 0
    assert shop.ask("POST", f"/api/phones/{van['id']}/revoke", token=owner)[0] == 200
    add_a_meter(page, "Meter two")
    go(page, "#/shop")
    expect(page.get_by_text("This phone was taken out of the shop")).to_be_visible()
    expect(page.get_by_text("1 edit waiting for the shop")).to_be_visible()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Hand everything over as one file").click()
    assert saved.value.path().stat().st_size > 100

    page.get_by_role("link", name="Pair this phone").click()
    page.get_by_label("The code").fill(code_for(shop, owner, "van again")["code"])
    page.get_by_role("button", name="Pair this phone").click()
    expect(page.get_by_text("This phone is in, as van again.")).to_be_visible()
    go(page, "#/shop")
    expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
    names = str(shop.ask("GET", "/api/changes?after=0", token=owner)[1])
    assert "Meter one" in names and "Meter two" in names


def add_a_meter(page: Page, name: str) -> None:
    """One edit."""
    go(page, "#/meters")
    page.get_by_text("Another meter", exact=True).click()
    page.locator("form").filter(has=page.get_by_role("button", name="Add it")).get_by_role("textbox").first.fill(name)
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_text(f"{name} is in the list.")).to_be_visible()


def test_a_page_of_an_iphone_says_home_screen_first_and_shows_the_code_to_type(
    shop: ShopProcess, owner: str, phone: BrowserContext
) -> None:
    phone.add_init_script("Object.defineProperty(navigator, 'standalone', { value: false })")
    made, page = code_for(shop, owner, "iphone"), phone.new_page()
    page.goto(made["link"])
    expect(page.get_by_role("heading", name="Add to Home Screen first")).to_be_visible()
    expect(page.get_by_text(made["code"], exact=True)).to_be_visible()
    expect(page.get_by_role("button", name="Pair this phone")).to_have_count(0)


def test_an_owner_pairs_and_takes_out_from_the_phone(shop: ShopProcess, owner: str, phone: BrowserContext) -> None:
    page = phone.new_page()
    page.goto(f"{address(shop)}/#/pair/{_owners_code(shop, owner)}")
    page.get_by_role("button", name="Pair this phone").click()
    expect(page.get_by_text("This phone is in, as counter.")).to_be_visible()
    go(page, "#/phones")
    page.get_by_label("What it is called here").fill("loft")
    page.get_by_role("button", name="Make a code").click()
    expect(page.locator(".code")).to_be_visible()
    code = page.locator(".code").inner_text()
    expect(page.get_by_role("img", name="The code as a picture")).to_be_visible()
    assert shop.ask("POST", "/api/pair", {"code": code})[0] == 200
    page.get_by_role("button", name="Done").click()
    page.get_by_role("button", name="Take loft out").click()
    page.get_by_role("button", name="Take loft out").click()
    expect(page.locator("li").filter(has_text="loft")).to_contain_text("taken out")


def test_who_goes_on_before_the_shop_has_answered_a_pairing_stays_there_and_sees_its_phones(
    shop: ShopProcess, owner: str, phone: BrowserContext
) -> None:
    page = phone.new_page()
    page.goto(f"{address(shop)}/#/pair/{_owners_code(shop, owner)}")
    waiting: list[Route] = []
    page.route("**/api/pair", lambda route: waiting.append(route))
    with page.expect_request("**/api/pair"):
        page.get_by_role("button", name="Pair this phone").click()
    go(page, "#/phones")
    expect(page.get_by_role("alert")).to_contain_text("does not know this phone yet")
    waiting.pop().continue_()
    expect(page.get_by_role("listitem").filter(has_text="counter").first).to_contain_text("owner")
    expect(page.get_by_role("alert")).to_have_count(0)
    assert page.url.endswith("#/phones")


def _owners_code(shop: ShopProcess, owner: str) -> str:
    status, made = shop.ask("POST", "/api/codes", {"phone_name": "counter", "role": "owner"}, owner)
    assert status == 201
    return made["code"]


def test_over_plain_http_the_record_still_goes_to_the_shop_and_the_app_says_what_is_lost(
    trusting: Browser, app_dir: Path, tmp_path: Path
) -> None:
    plain = ShopProcess(tmp_path, "--http-only", "--name", NAME, app=app_dir).start()
    context = trusting.new_context(viewport=PHONE, locale="en-GB")
    try:
        page = context.new_page()
        page.goto(f"http://{NAME}:{plain.port}/#/pair/{plain.first_code()}")
        assert page.evaluate("() => isSecureContext") is False
        page.get_by_role("button", name="Pair this phone").click()
        expect(page.get_by_text("This phone is in, as first phone.")).to_be_visible()
        add_a_meter(page, "Meter of plain HTTP")
        go(page, "#/shop")
        expect(page.get_by_text("This address is not secure")).to_be_visible()
        expect(page.get_by_text("Nothing waits for the shop.")).to_be_visible()
        expect(page.get_by_text("opinions need the shop's https address")).to_be_visible()
    finally:
        context.close()
        plain.stop()


def test_the_plain_page_tests_the_secure_address(shop: ShopProcess, trusting: Browser, browser: Browser) -> None:
    for who, words in ((trusting, "This phone trusts the shop's address"), (browser, "does not trust the address")):
        context = who.new_context(viewport=PHONE)
        page, errors = context.new_page(), []
        page.on("pageerror", lambda error, errors=errors: errors.append(str(error)))
        page.goto(f"http://127.0.0.1:{shop.page_port}/")
        if who is browser:  # it knows no name of the shop's, so it is let loose on the address
            page.evaluate(
                "(app) => { document.getElementById('test').dataset.app = app; }", f"https://127.0.0.1:{shop.port}",
            )
        page.get_by_role("button", name="Test the secure address").click()
        expect(page.locator("#said")).to_contain_text(words)
        assert errors == []
        width = page.evaluate("() => document.documentElement.scrollWidth")
        assert width <= PHONE["width"], "it scrolls sideways"
        expect(page.locator("#clock")).to_be_hidden()
        page.clock.set_fixed_time(dt.datetime.now(dt.UTC) + dt.timedelta(days=366))
        page.reload()
        expect(page.locator("#clock")).to_contain_text("366 days ahead of the shop's")
        context.close()


def test_a_foreign_name_signed_by_the_authority_is_refused(
    shop: ShopProcess, trusting: Browser, tmp_path: Path
) -> None:
    authority, key = open_authority(shop.data_dir), ec.generate_private_key(ec.SECP256R1())
    for name, accepted in ((NAME, True), (FOREIGN, False)):
        leaf = sign(authority, key.public_key(), [name], dt.datetime.now(dt.UTC))
        write_whole(tmp_path / "leaf.pem", in_one_file(key, leaf))
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(tmp_path / "leaf.pem")
        server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), http.server.SimpleHTTPRequestHandler)
        server.socket = context.wrap_socket(server.socket, server_side=True)
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        page = trusting.new_context().new_page()
        url = f"https://{name}:{server.server_address[1]}/none"
        try:
            if accepted:
                answer = page.goto(url)
                assert answer is not None and answer.status == 404
            else:
                with pytest.raises(Error, match="ERR_CERT_INVALID"):
                    page.goto(url)
        finally:
            page.context.close()
            server.shutdown()
            server.server_close()
            thread.join()
