"""Real boards through other people's readers: where these read a file at all, they find the same."""

import warnings

import pytest

from server.boards.ipc356 import read_ipc356
from server.boards.kicad import read_kicad
from tests.support.other_readers import gerbonara_points, our_pads, our_points, sexpdata_pads
from tests.support.real_boards import CARRIER_IPC, KICAD, MINNOWMAX, real


@pytest.mark.slow
@pytest.mark.parametrize("name", ["pic", "carrier"])
def test_sexpdata_finds_the_same_pads(name: str) -> None:
    # it takes seconds for each megabyte, so the two small ones; names stand in quotes in both
    text = real(KICAD[name]).decode()
    assert sexpdata_pads(text) == our_pads(read_kicad(text))


@pytest.mark.parametrize("path", [CARRIER_IPC, MINNOWMAX])
def test_gerbonara_finds_the_same_points(path: str) -> None:
    text = real(path).decode("latin-1")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        assert gerbonara_points(text) == our_points(read_ipc356(text))
