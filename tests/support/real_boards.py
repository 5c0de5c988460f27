"""Where real boards lie on this machine, if they do: never part of the project, only read."""

import os
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def _folder() -> Path | None:
    told = os.environ.get("SECOND_PROBE_BOARDS")
    if told:
        # a folder that was named and is not there is a mistake, not a machine without boards
        assert Path(told).is_dir(), f"SECOND_PROBE_BOARDS names {told}, which is no folder"
        return Path(told)
    beside = ROOT.parent / "shared" / "boards"
    return beside if beside.is_dir() else None


REAL_BOARDS = _folder()
"""The folder of real boards; None where there is none."""


def real(name: str) -> bytes:
    """The bytes of a real board's file."""
    assert REAL_BOARDS is not None
    return (REAL_BOARDS / name).read_bytes()


KICAD = {
    "teres": "teres-a64-main/teres-a64-main-revc.kicad_pcb",
    "reform": "reform2-motherboard25/reform2-motherboard25.kicad_pcb",
    "usbc_edp": "usbc-edp-driver/DisplayAdapter.kicad_pcb",
    "carrier": "cm5-sodimm-carrier/carrier.kicad_pcb",
    "pic": "kicad10-pic-programmer/pic_programmer.kicad_pcb",
}
MINNOWMAX = "minnowmax-ipc356a/MinnowMax_RevA1_IPC356A.ipc"
CARRIER_IPC = "cm5-sodimm-carrier/netlist.ipc"
CARRIER_CSV = "cm5-sodimm-carrier/SO-DIMM_pinout.csv"
