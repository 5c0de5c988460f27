"""What the server's sockets promise to whoever connects."""

import asyncio
import socket

import pytest

from server.network.listening import listen


@pytest.mark.parametrize("on_loopback", [True, False])
async def test_the_end_of_an_answer_does_not_wait_until_its_beginning_is_acknowledged(on_loopback: bool) -> None:
    accepted: asyncio.Queue[int] = asyncio.Queue()

    async def look(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        accepted.put_nowait(writer.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        writer.close()

    heard = listen(0, on_loopback=on_loopback)
    async with await asyncio.start_server(look, sock=heard):
        _, writer = await asyncio.open_connection("127.0.0.1", heard.getsockname()[1])
        assert await asyncio.wait_for(accepted.get(), 30)
        writer.close()
        await writer.wait_closed()
