"""How a running server has its threads wait for Python as little as they may."""

import asyncio
import gc
import os
import signal
import sys
from pathlib import Path

import pytest

from server.network.plan import Plan
from server.network.serving import ShopServer
from tests.browser.server_process import free_port


async def test_what_was_there_at_the_start_is_not_looked_at_again_for_circles_and_turns_are_short(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps: list[str | float] = []

    def end() -> None:
        steps.append("kept")
        os.kill(os.getpid(), signal.SIGTERM)  # as one tells it to end; it has its handler by now

    monkeypatch.setattr(gc, "collect", lambda *_: steps.append("looked once"))
    monkeypatch.setattr(gc, "freeze", end)
    monkeypatch.setattr(gc, "set_threshold", steps.append)
    monkeypatch.setattr(sys, "setswitchinterval", steps.append)
    plan = Plan(tmp_path, tmp_path / "no-app", way="this_machine", port=free_port())
    assert await asyncio.wait_for(ShopServer(plan).serve(), 30) == 0
    assert steps == ["looked once", "kept", 50_000, 0.001]
