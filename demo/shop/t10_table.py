"""The table of J7 of the Quillon T10 (`t10_j7.csv`): what nine healthy boards and four jobs read.

Millivolts, red on ground. `ref_mean` and `ref_sd` are of nine healthy boards, three meters, all brought
to 1.00 mA and 23 C. The column of job 4 is the sheet as its technician wrote it down.
"""

import csv
from pathlib import Path
from typing import Literal

Column = Literal["job1", "job2", "job4_as_written", "job5"]

with Path(__file__).with_name("t10_j7.csv").open(newline="", encoding="utf-8") as _file:
    ROWS: tuple[dict[str, str], ...] = tuple(csv.DictReader(_file))


def typed(column: Column) -> dict[str, str]:
    """What a job's technician typed, contact by contact in the order of the numbers."""
    return {row["contact"]: row[column] for row in ROWS}
