"""The demo boards that KiCad ships (Debian: kicad-demos): every one is read, and its sockets are traced.

They prove that real files of KiCad 5 and 6 are read without an error, not that what was read is right.
"""

from pathlib import Path

import pytest

from server.boards.door import OpenBoard

DEMOS = Path("/usr/share/kicad/demos")


def test_every_demo_board_is_read_and_its_sockets_are_traced() -> None:
    if not DEMOS.is_dir():
        pytest.skip("no demo boards: apt-get install -y --no-install-recommends kicad-demos")
    paths = sorted(DEMOS.rglob("*.kicad_pcb"))
    assert len(paths) >= 10
    for path in paths:
        board = OpenBoard.of(path.read_bytes())
        for socket in board.summary().sockets[:3]:
            assert board.traced(socket.ref).board.sockets[0].contacts, path.name
