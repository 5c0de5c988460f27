"""Write every bench sheet of the demo to `demo/sheets/`: `python3 -m demo.shop.make_sheets`.

The files are what the shop's records say, one record a line; a test holds them equal to this script.
"""

from pathlib import Path

import msgspec

from demo.shop import other_jobs, story_jobs, t10_jobs, visit_jobs
from shared_models.sheet import BenchSheet

SHEETS_DIR = Path(__file__).resolve().parents[1] / "sheets"


def sheets() -> dict[str, BenchSheet]:
    """Every sheet, by file name without its ending."""
    return {**t10_jobs.all_sheets(), **other_jobs.all_sheets(), **story_jobs.all_sheets(), **visit_jobs.all_sheets()}


def sheet_json(sheet: BenchSheet) -> str:
    """A sheet as JSON with one record of each list on a line, so that a change of one reads as one line."""
    fields: dict[str, object] = msgspec.to_builtins(sheet)
    lines: list[str] = []
    for name, value in fields.items():
        if isinstance(value, list) and value:
            records = ",\n  ".join(msgspec.json.encode(record).decode() for record in value)
            lines.append(f'"{name}": [\n  {records}\n]')
        else:
            lines.append(f'"{name}": {msgspec.json.encode(value).decode()}')
    return "{\n" + ",\n".join(lines) + "\n}\n"


def main() -> None:
    """Write all files and say how many."""
    SHEETS_DIR.mkdir(exist_ok=True)
    made = sheets()
    for name, sheet in made.items():
        (SHEETS_DIR / f"{name}.json").write_text(sheet_json(sheet), encoding="utf-8")
    print(f"{len(made)} sheets in {SHEETS_DIR}")


if __name__ == "__main__":
    main()
