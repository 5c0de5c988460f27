"""How the app's files are handed out: types, caching, compression, and no page for an unknown path."""

import os
from pathlib import Path
from typing import Any

import pytest
from litestar.testing import AsyncTestClient

from server.app import create_app
from tests.api.conftest import THIS_MACHINE, SeenFrom

Client = AsyncTestClient[Any]


@pytest.mark.parametrize(("path", "media_type"), [
    ("/", "text/html"), ("/index.html", "text/html"), ("/sw.js", "text/javascript"),
    ("/manifest.webmanifest", "application/manifest+json"), ("/version.json", "application/json"),
    ("/icon.svg", "image/svg+xml"), ("/assets/index-C8lRDrkl.css", "text/css"),
    ("/engine/runtime-0123456789ab/pyodide.mjs", "text/javascript"),
    ("/engine/runtime-0123456789ab/pyodide.asm.wasm", "application/wasm"),
    ("/engine/opinion-0123456789ab/engine.zip", "application/zip"),
    ("/engine/runtime-0123456789ab/msgspec.whl", "application/octet-stream"),
])
async def test_every_kind_of_file_has_its_type(client: Client, path: str, media_type: str) -> None:
    answer = await client.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-type"].split(";")[0] == media_type


@pytest.mark.parametrize("path", [
    "/assets/index-DuN7kZhC.js", "/engine/runtime-0123456789ab/pyodide.mjs", "/engine/opinion-0123456789ab/engine.zip",
])
async def test_a_file_named_by_its_content_is_kept_for_ever(client: Client, path: str) -> None:
    assert "immutable" in (await client.get(path)).headers["cache-control"]


ASKED_EACH_TIME = ["/", "/index.html", "/sw.js", "/manifest.webmanifest", "/version.json", "/engine_manifest.json",
                   "/icon.svg", "/engine/notes.mjs"]


@pytest.mark.parametrize("path", ASKED_EACH_TIME)
async def test_any_other_file_is_asked_about_each_time_and_answered_304(client: Client, path: str) -> None:
    first = await client.get(path)
    assert first.headers["cache-control"] == "no-cache"
    again = await client.get(path, headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]


async def test_a_new_build_of_equal_length_and_date_is_not_the_old_one(tmp_path: Path, built_app: Path) -> None:
    marks = []
    for text in ("version one", "version two"):
        path = built_app / "index.html"
        path.write_text(text, encoding="utf-8")
        os.utime(path, (1_700_000_000, 1_700_000_000))
        app = create_app(tmp_path / "data", built_app)
        async with AsyncTestClient(SeenFrom(app), base_url=THIS_MACHINE) as client:
            marks.append((await client.get("/")).headers["etag"])
    assert marks[0] != marks[1]


async def test_the_smallest_compressed_file_the_browser_takes_is_sent(client: Client, built_app: Path) -> None:
    path = "/assets/index-DuN7kZhC.js"
    async with client.stream("GET", path, headers={"Accept-Encoding": "gzip, br"}) as answer:
        assert answer.headers["content-encoding"] == "br" and answer.headers["vary"] == "Accept-Encoding"
        assert b"".join([chunk async for chunk in answer.aiter_raw()]) == b"stands for brotli"
    zipped = await client.get(path, headers={"Accept-Encoding": "gzip"})
    assert zipped.headers["content-encoding"] == "gzip"
    plain = await client.get(path, headers={"Accept-Encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert zipped.content == plain.content == (built_app / path[1:]).read_bytes()
    assert plain.headers["content-type"] == zipped.headers["content-type"]


async def test_only_the_root_leads_to_the_index(client: Client) -> None:
    assert (await client.get("/")).content == (await client.get("/index.html")).content
    for path in ("/job/1", "/assets/", "/assets/none.js", "/assets/index-DuN7kZhC.js.br", "/../pyproject.toml",
                 "/%2e%2e/pyproject.toml", "/assets/..%2f..%2f..%2fetc/passwd", "/index.html/"):
        answer = await client.get(path)
        assert answer.status_code == 404, path
        assert answer.json()["problem"]["code"] == "no_such_route"


async def test_a_part_of_a_file_can_be_asked_for(client: Client) -> None:
    answer = await client.get("/index.html", headers={"Range": "bytes=0-8"})
    assert (answer.status_code, answer.content) == (206, b"<!doctype")


async def test_head_says_what_get_would(client: Client) -> None:
    head, get = await client.head("/"), await client.get("/")
    assert (head.status_code, head.content) == (200, b"")
    assert head.headers["content-length"] == get.headers["content-length"]


async def test_without_a_built_app_the_server_runs_and_says_so(tmp_path: Path) -> None:
    for app_dir in (None, tmp_path / "nowhere"):
        app = create_app(tmp_path / "data", app_dir)
        async with AsyncTestClient(SeenFrom(app), base_url=THIS_MACHINE) as client:
            assert (await client.get("/api/health")).status_code == 200
            answer = await client.get("/")
            assert (answer.status_code, answer.json()["problem"]["code"]) == (404, "app_not_built")


async def test_every_file_of_the_real_app_is_handed_out_whole(tmp_path: Path, app_dir: Path) -> None:
    app = create_app(tmp_path / "data", app_dir)
    files = [path for path in app_dir.rglob("*") if path.is_file() and path.suffix not in (".br", ".gz")]
    async with AsyncTestClient(SeenFrom(app), base_url=THIS_MACHINE) as client:
        client.headers["accept-encoding"] = "identity"
        for path in files:
            answer = await client.get("/" + path.relative_to(app_dir).as_posix())
            assert answer.status_code == 200 and answer.content == path.read_bytes(), path
            named_by_content = path.relative_to(app_dir).parts[0] in ("assets", "engine")
            assert ("immutable" in answer.headers["cache-control"]) == named_by_content, path
