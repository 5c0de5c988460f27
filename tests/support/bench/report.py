"""The bench's tables as text."""

from typing import Any

from tests.support.bench import rules
from tests.support.bench import tables as t
from tests.support.bench.contact_scores import BINS, by_current, table

Rows = dict[str, list[dict[str, Any]]]
JUDGES = ("ideal", "engine", *rules.NAMES)


def report(rows: Rows) -> str:
    """All tables, one under the other."""
    return "\n\n".join(part for part in (_contacts(rows["contacts"]),) if part)


def _contacts(rows: list[dict[str, Any]]) -> str:
    told = []
    wanted = [("plain", boards, True) for boards in (t.REFERENCE_BOARDS, *t.VARIANT_BOARDS)]
    wanted += [("plain", t.REFERENCE_BOARDS, False)]
    wanted += [(weather, t.REFERENCE_BOARDS, True) for weather in ("odd", "heavy", "crowd")]
    for weather, boards, sheet in wanted:
        of = _of(rows, weather, boards, sheet=sheet)
        if of:
            title = f"{weather}, {boards} reference boards, {'sheets known' if sheet else 'no meter has a sheet'}"
            told.append(_contact_table(title, of))
    told.append(_current_table(_of(rows, "plain", t.REFERENCE_BOARDS, sheet=True)))
    return "\n\n".join(told)


def _of(rows: list[dict[str, Any]], weather: str, boards: int, *, sheet: bool) -> list[dict[str, Any]]:
    return [row for row in rows if row["weather"] == weather and row["references"] == boards and row["sheet"] == sheet]


def _contact_table(title: str, rows: list[dict[str, Any]]) -> str:
    lines = table(rows, JUDGES)
    if not lines:
        return ""
    names = [name for name, _ in BINS] + ["open, 2 touches"]
    jobs = len({row["job"] for row in rows})
    head = (
        f"CONTACTS {title}: {jobs} jobs, {lines[0]['healthy']} healthy contacts\n"
        "false alarms in % at the judge's own threshold (one touch, two touches); "
        "missed in % with 0.2 % false alarms, by fault (ohm, mV)"
    )
    width = 13
    body = [f"{'judge':14}{'FA 1':>7}{'FA 2':>7}" + "".join(f"{name.replace('leak ', ''):>{width}}" for name in names)]
    for line in lines:
        cells = "".join(f"{100 * line['missed'][name]:{width}.1f}" for name in names)
        body.append(f"{line['judge']:14}{100 * line['fa_one_touch']:7.2f}{100 * line['fa_two_touches']:7.2f}{cells}")
    body.append(f"{'n':28}" + "".join(f"{lines[0]['n'][name]:{width}}" for name in names))
    return "\n".join([head, *body])


def _current_table(rows: list[dict[str, Any]]) -> str:
    told = by_current(rows, JUDGES, t.NOMINAL_CURRENTS_MA)
    head = "LEAKS < 5k missed in % with 0.2 % false alarms, by the meter's current in mA (in brackets: how many)"
    body = []
    for judge, found in told.items():
        cells = [f"{ma:g}: {100 * found[f'{ma:g}']:5.1f} ({found[f'{ma:g} n']})" for ma in t.NOMINAL_CURRENTS_MA]
        body.append(f"{judge:14}{'   '.join(cells)}")
    return "\n".join([head, *body])
