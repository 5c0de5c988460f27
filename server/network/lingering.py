"""An answer that comes before its request is whole still arrives.

Who is refused is told at once; what is still on its way is not wanted, and the connection ends. But one that is
shut while bytes arrive is reset, and a reset throws away the answer that the other side has not read yet: a phone
with a large picture would see "no shop" where the shop had said "revoked". So the answer goes out whole, what still
arrives is read and thrown away for a while, and only then is the connection shut (RFC 9112, section 9.6).
"""

import asyncio
from typing import Any

from server.api.edge import BODY_LIMIT_BYTES

LINGER_S = 5.0
"""The longest that somebody who was refused is listened to; what a phone has on its way in a shop's network is here
sooner (common practice of web servers: seconds)."""

LINGER_BYTES = BODY_LIMIT_BYTES
"""The most that is read and thrown away: what changes may have at once. Of a larger file it can still be a reset."""


class Lingering:
    """An ASGI application around another one; see above. Anything but HTTP passes untouched."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection."""
        if scope["type"] != "http" or not _has_body(scope):
            await self._inner(scope, receive, send)
            return
        here = False

        async def receive_noting() -> Any:
            nonlocal here
            message = await receive()
            here = here or _is_last(message)
            return message

        async def send_lingering(message: Any) -> None:
            if message["type"] == "http.response.body" and not here and not message.get("more_body", False):
                await send({**message, "more_body": True})
                await _throw_away_rest(receive)
                message = {"type": "http.response.body", "body": b""}
            await send(message)

        await self._inner(scope, receive_noting, send_lingering)


async def _throw_away_rest(receive: Any) -> None:
    """Until the request is whole, its sender gone, or one of the limits reached."""
    left = LINGER_BYTES
    try:
        async with asyncio.timeout(LINGER_S):
            while left > 0:
                message = await receive()
                left -= len(message.get("body", b""))
                if _is_last(message):
                    return
    except TimeoutError:
        return


def _is_last(message: Any) -> bool:
    return message["type"] != "http.request" or not message.get("more_body", False)


def _has_body(scope: Any) -> bool:
    said = dict(scope["headers"])
    return b"transfer-encoding" in said or said.get(b"content-length", b"0") != b"0"
