"""Nothing is answered outside the guard, and every answer carries what keeps the browser safe."""

from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import AsyncTestClient

from server.access.access import Access
from server.access.edge import CONTENT_SECURITY_POLICY
from server.app import create_app, create_routes
from server.sync.accept import Vocabulary
from tests.api.conftest import THIS_MACHINE, SeenFrom

Client = AsyncTestClient[Any]


def every_route(data_dir: Path) -> list[tuple[str, str]]:
    """Every method and path the server has, and some that are no route."""
    routes = create_routes(data_dir, Vocabulary(), Access()).routes
    found = [(method, _filled(route.path)) for route in routes for method in sorted(getattr(route, "methods", ()))]
    assert len(found) >= 5
    no_routes = ("/", "/index.html", "/sw.js", "/nowhere")
    return [*found, *(("GET", path) for path in no_routes), ("PUT", "/api/health")]


def _filled(path: str) -> str:
    return "/".join("job-1" if part.startswith("{") else part for part in path.split("/"))


@pytest.mark.parametrize("address", ["192.168.1.20", "10.0.0.1", "::ffff:10.0.0.1", "8.8.8.8", "fe80::1", "", "nobody"])
async def test_no_route_is_answered_to_another_machine(tmp_path: Path, built_app: Path, address: str) -> None:
    app = create_app(tmp_path / "data", built_app)
    async with AsyncTestClient(SeenFrom(app, address), base_url=THIS_MACHINE) as client:
        for method, path in every_route(tmp_path / "data"):
            answer = await client.request(method, path, headers={"X-Forwarded-For": "127.0.0.1"})
            assert answer.status_code == 403, (method, path)
            if method != "HEAD":  # an answer to HEAD has no body
                assert answer.json()["problem"]["code"] == "not_admitted"


@pytest.mark.parametrize("address", ["127.0.0.1", "127.5.4.3", "::1"])
@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8765", "localhost:8765", "LOCALHOST", "[::1]:8765"])
async def test_this_machine_is_admitted_by_its_own_names(tmp_path: Path, address: str, host: str) -> None:
    app = create_app(tmp_path / "data", None)
    async with AsyncTestClient(SeenFrom(app, address), base_url=THIS_MACHINE) as client:
        assert (await client.get("/api/health", headers={"Host": host})).status_code == 200


@pytest.mark.parametrize("host", ["shop.example", "localhost.shop.example", "127.0.0.1.shop.example", "", "[", "a b"])
async def test_a_foreign_name_that_points_here_is_refused(tmp_path: Path, built_app: Path, host: str) -> None:
    app = create_app(tmp_path / "data", built_app)
    async with AsyncTestClient(SeenFrom(app), base_url=THIS_MACHINE) as client:
        for method, path in every_route(tmp_path / "data"):
            assert (await client.request(method, path, headers={"Host": host})).status_code == 403, (method, path)


async def test_a_request_without_an_address_is_refused(tmp_path: Path) -> None:
    sent: list[Any] = []

    async def receive() -> Any:
        return {"type": "http.request", "body": b""}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "GET", "path": "/", "headers": [(b"host", b"localhost")], "client": None}
    await create_app(tmp_path, None)(scope, receive, send)
    assert sent[0]["status"] == 403


async def test_a_websocket_is_closed_at_the_door(tmp_path: Path) -> None:
    sent: list[Any] = []

    async def receive() -> Any:
        return {"type": "websocket.connect"}

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {"type": "websocket", "path": "/", "headers": [], "client": ("127.0.0.1", 1)}
    await create_app(tmp_path, None)(scope, receive, send)
    assert [message["type"] for message in sent] == ["websocket.close"]


async def test_every_answer_carries_the_policy(client: Client, tmp_path: Path) -> None:
    for method, path in every_route(tmp_path / "data2"):
        answer = await client.request(method, path)
        assert answer.headers["content-security-policy"] == CONTENT_SECURITY_POLICY, (method, path)
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "access-control-allow-origin" not in answer.headers
        assert answer.headers["cache-control"]


async def test_a_304_carries_the_policy_too(client: Client) -> None:
    mark = (await client.get("/")).headers["etag"]
    answer = await client.get("/", headers={"If-None-Match": mark})
    assert answer.status_code == 304
    assert answer.headers["content-security-policy"] == CONTENT_SECURITY_POLICY


def test_the_policy_lets_the_page_reach_its_own_origin_only() -> None:
    parts = {part.split()[0]: " ".join(part.split()[1:]) for part in CONTENT_SECURITY_POLICY.split(";")}
    assert parts["default-src"] == parts["connect-src"] == parts["worker-src"] == parts["style-src"] == "'self'"
    assert parts["script-src"] == "'self' 'wasm-unsafe-eval'"  # the engine is WebAssembly; no other script may be made
    assert parts["object-src"] == parts["base-uri"] == parts["frame-ancestors"] == "'none'"
    assert "http" not in CONTENT_SECURITY_POLICY and "unsafe-inline" not in CONTENT_SECURITY_POLICY


NOW, NAME, BEFORE = "https://192.168.1.31:8765", "https://shop.local:8765", "https://192.168.1.20:8765"
STRANGERS = (
    "https://shop.example", "null", "", "http://192.168.1.20:8765", "https://192.168.1.20", "https://192.168.1.20:8766",
    f"{BEFORE}.shop.example", f"{BEFORE}/", "https://192.168.1.21:8765",
)


@pytest.fixture
async def moved(tmp_path: Path, built_app: Path) -> AsyncIterator[Client]:
    """A shop that has another address since; the addresses it had are in its record."""
    access = Access(addresses=(NOW, "https://[fd00::2]:8765", NAME))  # no policy can name an IPv6 address
    async with AsyncTestClient(
        SeenFrom(create_app(tmp_path / "data", built_app, access=access)), base_url=THIS_MACHINE
    ) as client:
        for address in (BEFORE, "http://192.168.1.20:8765", NOW):
            await access.note_address(address)
        yield client


async def test_the_app_of_a_former_address_is_answered_across_and_needs_its_token_all_the_same(moved: Client) -> None:
    for origin in (BEFORE, NAME, NOW):
        wants = {"Origin": origin, "Access-Control-Request-Method": "POST"}
        asked = await moved.options("/api/changes", headers=wants)
        assert (asked.status_code, asked.headers["access-control-allow-origin"], asked.content) == (204, origin, b"")
        assert "authorization" in asked.headers["access-control-allow-headers"]
        assert "access-control-allow-credentials" not in asked.headers
        answer = await moved.get("/api/changes?after=0", headers={"Origin": origin})
        assert (answer.status_code, answer.headers["access-control-allow-origin"]) == (401, origin)
        assert answer.headers["vary"] == "Origin"


@pytest.mark.parametrize("origin", STRANGERS)
async def test_nobody_elses_page_is_answered_across(moved: Client, origin: str) -> None:
    wants = {"Origin": origin, "Access-Control-Request-Method": "POST"}
    asked = await moved.options("/api/changes", headers=wants)
    answer = await moved.get("/api/health", headers={"Origin": origin})
    assert (asked.status_code, answer.status_code) == (401, 200)
    for each in (asked, answer):
        assert not any(name.startswith("access-control") for name in each.headers)


async def test_the_policy_names_the_shops_own_addresses_and_no_other(moved: Client) -> None:
    policy = (await moved.get("/")).headers["content-security-policy"]
    assert f"connect-src 'self' {NOW} {NAME} {BEFORE};" in policy and policy.count("http") == 3
    token = (await moved.post("/api/pair-here")).json()["token"]
    me = (await moved.get("/api/me", headers={"Authorization": f"Bearer {token}"})).json()
    assert me["addresses"][0] == NOW and me["elsewhere"] == [NOW, NAME, BEFORE]
