"""The tables of the shop's sockets (`boards/*.csv`): what healthy boards read, and what was typed in jobs.

One row a contact: its number, name and kind; mean and deviation of the healthy boards in millivolts (or
OL), red on ground, brought to 1.00 mA and 23 C; empty where no healthy board was read. Then a column for
each sheet, as typed; an empty cell is a contact that was not read. `t10_j7_more.csv` has sheets only.
At 0.3 mA its plain junctions stand 42 mV lower than at 1 mA, those behind 22 ohm 57 and behind 33 ohm
65; a leak of 2.2 kohm takes another 29 from T_RST there (at 1 mA it would take 8).
"""

import csv
from pathlib import Path

OL = "OL"


class Table:
    """One socket's table."""

    def __init__(self, file_name: str) -> None:
        path = Path(__file__).with_name("boards") / file_name
        with path.open(newline="", encoding="utf-8") as file:
            self.rows: tuple[dict[str, str], ...] = tuple(csv.DictReader(file))
        self.file_name = file_name

    def typed(self, column: str) -> dict[str, str]:
        """What a sheet's technician typed, contact by contact in the order of the rows."""
        if column not in self.rows[0]:
            raise KeyError(f"{self.file_name} has no column {column!r}; it has {', '.join(self.rows[0])}")
        return {row["contact"]: row[column] for row in self.rows if row[column] != ""}


T10_J7 = Table("t10_j7.csv")
T10_J7_MORE = Table("t10_j7_more.csv")
L14_J501 = Table("l14_j501.csv")
V2_J2 = Table("v2_j2.csv")
S4_J3 = Table("s4_j3.csv")
P1_J1 = Table("p1_j1.csv")
