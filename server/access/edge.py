"""The outermost layer: the guard, and the headers that every answer carries.

The content security policy lets the page run its own scripts and WebAssembly (the engine), read
from its own origin only, and be framed by nobody. The engine's worker obeys the header of its own
script, which is why the app's files carry it too.
"""

from typing import Any

import msgspec

from server.access.guard import refusal_for
from shared_models.change import ProblemAnswer

CONTENT_SECURITY_POLICY = (
    "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'; connect-src 'self'; "
    "img-src 'self' blob: data:; style-src 'self'; object-src 'none'; base-uri 'none'; frame-ancestors 'none'"
)

SAFETY_HEADERS = (
    (b"content-security-policy", CONTENT_SECURITY_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
)


class Edge:
    """An ASGI application around another one."""

    def __init__(self, inner: Any) -> None:
        self.inner = inner

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection; `lifespan` passes untouched, a websocket is never admitted."""
        if scope["type"] == "lifespan":
            await self.inner(scope, receive, send)
            return
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return

        async def send_safely(message: Any) -> None:
            if message["type"] == "http.response.start":
                headers = [*message.get("headers", ()), *SAFETY_HEADERS]
                if not any(name == b"cache-control" for name, _ in headers):
                    headers.append((b"cache-control", b"no-store"))  # answers are of this moment
                message = {**message, "headers": headers}
            await send(message)

        problem = refusal_for(scope)
        if problem is None:
            await self.inner(scope, receive, send_safely)
            return
        body = msgspec.json.encode(ProblemAnswer(status=403, problem=problem))
        headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
        await send_safely({"type": "http.response.start", "status": 403, "headers": headers})
        await send_safely({"type": "http.response.body", "body": body})
