"""The whole server behind the real ASGI client, seen from this machine or from elsewhere."""

import gzip
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from litestar.testing import AsyncTestClient

from server.access.access import Access
from server.access.edge import Edge
from server.app import create_app, create_routes
from server.sync.accept import Vocabulary

THIS_MACHINE = "http://127.0.0.1"


class SeenFrom:
    """An ASGI application whose requests come from `address` (the test client has none of its own)."""

    def __init__(self, app: Any, address: str = "127.0.0.1") -> None:
        self.app, self.address = app, address

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Passes everything on, with the sender's address put in."""
        if scope["type"] == "http":
            scope = {**scope, "client": (self.address, 50000)}
        await self.app(scope, receive, send)


@pytest.fixture
def built_app(tmp_path: Path) -> Path:
    """A small built app: an index, files named by content, compressed ones, and the changing ones."""
    return make_built_app(tmp_path / "dist")


def make_built_app(folder: Path) -> Path:
    """Writes the files; the names are those the build gives."""
    files = {
        "index.html": "<!doctype html><title>Second Probe</title>",
        "sw.js": "self.skipWaiting;", "manifest.webmanifest": "{}", "version.json": '{"version":"1"}',
        "engine_manifest.json": "{}", "icon.svg": "<svg/>",
        "assets/index-DuN7kZhC.js": "console.log(1);" * 400, "assets/index-C8lRDrkl.css": "body{}",
        "engine/runtime-0123456789ab/pyodide.mjs": "export {};",
        "engine/runtime-0123456789ab/pyodide.asm.wasm": "\0asm",
        "engine/runtime-0123456789ab/msgspec.whl": "PK", "engine/opinion-0123456789ab/engine.zip": "PK",
        "engine/notes.mjs": "no hash in its name",
    }
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    script = folder / "assets/index-DuN7kZhC.js"
    script.with_name(script.name + ".gz").write_bytes(gzip.compress(script.read_bytes()))
    script.with_name(script.name + ".br").write_bytes(b"stands for brotli")
    return folder


@asynccontextmanager
async def in_this_loop(data_dir: Path) -> AsyncIterator[httpx.AsyncClient]:
    """The server in the test's own event loop, for what depends on two things going on at once.

    The framework's test client runs each request to its end before the caller goes on.
    """
    async with edge_in_this_loop(data_dir) as (_, client):
        yield client


@asynccontextmanager
async def edge_in_this_loop(data_dir: Path) -> AsyncIterator[tuple[Edge, httpx.AsyncClient]]:
    """The same with the application itself, for who sends it messages of his own: its locks and futures belong to the
    loop it was started in, and one asked from another loop waits for ever."""
    access = Access()
    routes = create_routes(data_dir, Vocabulary(), access)
    edge = Edge(routes, access, lambda _path: False)
    async with routes.lifespan(), httpx.AsyncClient(
        transport=httpx.ASGITransport(edge), base_url=THIS_MACHINE
    ) as client:
        await pair_here(client)
        yield edge, client


async def pair_here(client: httpx.AsyncClient) -> httpx.AsyncClient:
    """The client as a paired phone of a server for this machine."""
    answer = await client.post("/api/pair-here")
    client.headers["authorization"] = f"Bearer {answer.json()['token']}"
    return client


@pytest.fixture
async def client(tmp_path: Path, built_app: Path) -> AsyncIterator[AsyncTestClient[Any]]:
    """The server with the small app, asked from this machine by a phone that is paired."""
    app = create_app(tmp_path / "data", built_app)
    async with AsyncTestClient(SeenFrom(app), base_url=THIS_MACHINE, raise_server_exceptions=False) as client:
        client.headers["accept-encoding"] = "identity"
        await pair_here(client)
        yield client
