"""The same files through other people's readers, brought to one shape."""

from collections import Counter
from typing import Any

import sexpdata

from server.boards.board_file import BoardFile

Points = Counter[tuple[str, int, int]]
UNIT_MM = 0.00254
"""One unit of a test list in CUST 0, a ten-thousandth of an inch."""


def our_pads(board: BoardFile) -> Counter[tuple[str, str, str]]:
    """(part, pin, net) of every pad on a net."""
    return Counter((part.ref, pad.number, pad.net) for part in board.parts for pad in part.pads if pad.net)


def sexpdata_pads(text: str) -> Counter[tuple[str, str, str]]:
    """The same by sexpdata, for formats whose names stand in quotes."""
    found: Counter[tuple[str, str, str]] = Counter()
    for part in sexpdata.loads(text):
        if _head(part) not in ("footprint", "module"):
            continue
        ref = next(
            (str(one[2]) for one in part if _head(one) in ("property", "fp_text") and _plain(one[1]).lower()
            == "reference"), ""
        )
        for pad in part:
            net = next((_plain(one[-1]) for one in pad if _head(one) == "net"), "") if _head(pad) == "pad" else ""
            if net:
                found[ref, _plain(pad[1]), net] += 1
    return found


def _head(node: Any) -> str:
    return _plain(node[0]) if isinstance(node, list) and node else ""


def _plain(word: Any) -> str:
    return str(word.value()) if isinstance(word, sexpdata.Symbol) else str(word)


def our_points(board: BoardFile) -> Points:
    """(part, x, y) of every pad in the list's own units, y upwards."""
    return Counter(
        (part.ref, round((pad.x_mm or 0.0) / UNIT_MM), round(-(pad.y_mm or 0.0) / UNIT_MM))
        for part in board.parts for pad in part.pads
    )


def gerbonara_points(text: str) -> Points:
    """The same by gerbonara, whose part names carry no pin. Its kinds 1 and 2 are pads; 6 are holes without copper."""
    from gerbonara.ipc356 import Netlist
    from gerbonara.utils import MM

    netlist = Netlist.from_string(text, "board.ipc")
    return Counter(
        (record.ref_des, *(round(record.unit.convert_to(MM, at) / UNIT_MM) for at in (record.x, record.y)))
        for record in netlist.test_records if record.ref_des and record.pad_type.value in (1, 2)
    )
