"""The outermost layer: the guard, the token, and the headers that every answer carries.

Decides: what is open without a token (`OPEN_ROUTES` and the app's own files, each by its exact path), so
that whatever is added later is shut until it is named here. The content security policy lets the page run
its own scripts and WebAssembly (the engine), read from its own origin and this shop's other addresses only
(`elsewhere`), and be framed by nobody. The engine's worker obeys the header of its own script, which is why the
app's files carry it too.
"""

from collections.abc import Callable
from typing import Any

import msgspec

from server.access.access import Access
from server.access.elsewhere import Headers, answered_across, asked_before, is_own_app, others_to_try
from server.access.guard import refusal_for
from server.problems import Refusal
from shared_models.change import ProblemAnswer

CONTENT_SECURITY_POLICY = (
    "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'; connect-src 'self'; "
    "img-src 'self' blob: data:; style-src 'self'; object-src 'none'; base-uri 'none'; frame-ancestors 'none'"
)

SAFETY_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
)

OPEN_ROUTES = frozenset({("GET", "/api/health"), ("POST", "/api/pair"), ("POST", "/api/pair-here")})
"""What is answered without a token: whether the server is up, and how one gets a token."""

READS = frozenset({"GET", "HEAD"})
SYNC_PATH = "/api/changes"


class Edge:
    """An ASGI application around another one. `is_app_file` knows the app's files by their exact path."""

    def __init__(self, inner: Any, access: Access, is_app_file: Callable[[str], bool]) -> None:
        self.inner, self.access, self._is_app_file = inner, access, is_app_file

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection; `lifespan` passes untouched, a websocket is never admitted."""
        if scope["type"] == "lifespan":
            await self.inner(scope, receive, send)
            return
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        said = self.access.log.begin(scope) if self.access.log else None
        across = self._across(scope)

        async def send_safely(message: Any) -> None:
            if message["type"] == "http.response.start":
                headers = [*message.get("headers", ()), (b"content-security-policy", self._policy()), *SAFETY_HEADERS]
                headers += across
                if not any(name == b"cache-control" for name, _ in headers):
                    headers.append((b"cache-control", b"no-store"))  # answers are of this moment
                message = {**message, "headers": headers}
                if said:
                    said(message["status"])
            await send(message)

        try:
            self._let_knock(scope)
            if across and scope["method"] == "OPTIONS" and _value(scope, b"access-control-request-method"):
                await send_safely({"type": "http.response.start", "status": 204, "headers": asked_before()})
                await send_safely({"type": "http.response.body", "body": b""})
                return
            await self._admit(scope)
        except Refusal as refusal:
            await _answer(refusal, send_safely)
            return
        await self.inner(scope, receive, send_safely)

    def _policy(self) -> bytes:
        others = others_to_try(self.access.addresses, self.access.former)
        return CONTENT_SECURITY_POLICY.replace("connect-src 'self'", " ".join(("connect-src 'self'", *others))).encode()

    def _across(self, scope: Any) -> Headers:
        """What an answer carries for the app of another address of this shop; nothing for anybody else's."""
        origin = _value(scope, b"origin")
        return answered_across(origin) if is_own_app(origin, self.access.addresses, self.access.former) else []

    def _let_knock(self, scope: Any) -> None:
        """Raises Refusal for who is not of this network, or calls this server by a name that is not its own."""
        problem = refusal_for(scope, self.access.doors)
        if problem is not None:
            raise Refusal(403, problem)

    async def _admit(self, scope: Any) -> None:
        """Raises Refusal for who may not ask this; else the phone that asks stands in `scope["phone"]`."""
        method, path = scope["method"], scope["path"]
        if (method, path) in OPEN_ROUTES or (method in READS and (path == "/" or self._is_app_file(path))):
            return
        scope["phone"] = await self.access.desk.phone_with(bearer_of(scope), scope["client"][0])
        if path == SYNC_PATH:
            await self.access.desk.note_synced(scope["phone"])


def bearer_of(scope: Any) -> str | None:
    """The token in the header Authorization; None when there is none of the kind Bearer."""
    scheme, _, token = _value(scope, b"authorization").partition(" ")
    return token.strip() if scheme.lower() == "bearer" and token.strip() else None


def _value(scope: Any, wanted: bytes) -> str:
    """A header's value; "" when it is not there."""
    return next((value.decode("latin-1") for name, value in scope["headers"] if name == wanted), "")


async def _answer(refusal: Refusal, send: Any) -> None:
    body = msgspec.json.encode(ProblemAnswer(status=refusal.status, problem=refusal.problem))
    headers = [
        (b"content-type", b"application/json"), (b"content-length", str(len(body)).encode()),
        # what is still on its way of a refused request is not read
        (b"connection", b"close"),
        *((name.lower().encode(), value.encode("latin-1", "replace")) for name, value in refusal.headers.items()),
    ]
    await send({"type": "http.response.start", "status": refusal.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
