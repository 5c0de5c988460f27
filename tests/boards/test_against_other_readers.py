"""Other people's readers of the same text: sexpdata for brackets, gerbonara for IPC-D-356, on boards of our own.

What they cannot do is kept out by hand: sexpdata reads a bare 1_1 as 11, takes [ and ] for brackets and fails at a
quote inside an atom; gerbonara loses pin numbers and does not look up the names of long nets. On real boards the same
comparison is in `test_real_readers.py`.
"""

import warnings

from server.boards.ipc356 import read_ipc356
from server.boards.kicad import read_kicad
from tests.support.invented_board import ipc356, kicad
from tests.support.other_readers import gerbonara_points, our_pads, our_points, sexpdata_pads


def test_sexpdata_finds_the_same_pads() -> None:
    for version in (20211014, 20241229):
        assert sexpdata_pads(kicad(version)) == our_pads(read_kicad(kicad(version)))


def test_gerbonara_finds_the_same_points() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        assert gerbonara_points(ipc356()) == our_points(read_ipc356(ipc356()))
