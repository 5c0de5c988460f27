"""Asking the real ngspice for operating points: one start for a whole list of little circuits.

A circuit is a few netlist lines; each gets its own names by `{i}` in them, so that all stand in one netlist
beside each other and share nothing but ground.
"""

import re
import subprocess
from collections.abc import Sequence

# tight enough that the solver itself costs under a microvolt
OPTIONS = ".options TEMP=27 TNOM=27 RELTOL=1e-9 ABSTOL=1e-15 VNTOL=1e-12 GMIN=1e-15"

# still under a thousandth of a millivolt; hundreds of circuits side by side do not settle together any tighter
BATCH_OPTIONS = ".options TEMP=27 TNOM=27 RELTOL=1e-6 ABSTOL=1e-13 VNTOL=1e-9 GMIN=1e-15 ITL1=1000"


def node_millivolts(
    ngspice: str, circuits: Sequence[str], *, node: str = "a{i}", options: str = OPTIONS
) -> list[float]:
    """The voltage of `node` in each circuit, in mV. Raises AssertionError with ngspice's words when it fails."""
    lines = ["operating points"]
    for i, circuit in enumerate(circuits):
        lines += [part.strip().format(i=i) for part in circuit.strip().splitlines()]
    names = [node.format(i=i) for i in range(len(circuits))]
    lines += [
        options,
        ".control",
        "set numdgt=12",
        "op",
        *(f"print v({name})" for name in names),
        "quit 0",
        ".endc",
        ".end",
    ]
    said = run(ngspice, "\n".join(lines))
    found = {name: float(value) * 1000 for name, value in re.findall(r"^v\((\w+)\) = (\S+)$", said, re.MULTILINE)}
    assert list(found) == names, said[-2000:]
    return list(found.values())


def run(ngspice: str, netlist: str) -> str:
    """What ngspice prints for a netlist with its own control section."""
    done = subprocess.run([ngspice, "-b", "/dev/stdin"], input=netlist, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout
