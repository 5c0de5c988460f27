"""How often the intervals of a meter's own page hold what is true.

A sheet states one standard deviation: its nine tenths are 1.645 of them. A pair states a 95 % interval of the ratio,
and one deviation of the second current.
"""

import statistics
from collections.abc import Iterable

from tests.support.bench.contact_scores import Row

NINE_TENTHS_SD = 1.645
AIM_90, AIM_95 = (0.88, 0.97), (0.92, 0.98)


def figures_of(rows: list[Row]) -> dict[str, float]:
    """How far each coverage lies outside of its aim, and the coverages themselves."""
    sheets, pairs = _answered(rows, "sheet"), _answered(rows, "pair")
    told = {
        "sheet current": (_within(sheets, "current_off_sd"), AIM_90),
        "sheet zero": (_within(sheets, "zero_off_sd"), AIM_90),
        "pair ratio": (_covered(pairs), AIM_95),
        "pair current": (_within(pairs, "current_off_sd"), AIM_90),
    }
    figures = {f"{name} covered": share for name, (share, _) in told.items()}
    return figures | {name: max(0.0, low - share, share - high) for name, (share, (low, high)) in told.items()}


def _answered(rows: list[Row], what: str) -> list[Row]:
    return [row for row in rows if row["what"] == what and not row["refused"]]


def _within(rows: list[Row], name: str) -> float:
    return statistics.fmean(abs(row[name]) <= NINE_TENTHS_SD for row in rows if row[name] is not None)


def _covered(rows: list[Row]) -> float:
    return statistics.fmean(row["covered"] for row in rows)


def meter_table(rows: list[Row]) -> str:
    """Coverages, whole and by what was touched."""
    sheets, pairs = _answered(rows, "sheet"), _answered(rows, "pair")
    counts = {what: sum(row["what"] == what for row in rows) for what in ("sheet", "pair")}
    body = [
        f"METERS {counts['sheet']} sheets ({counts['sheet'] - len(sheets)} refused), {counts['pair']} pairs "
        f"({counts['pair'] - len(pairs)} refused): how often the interval holds what is true",
        f"{'sheet from resistors':30}{'n':>6}{'current, 90 %':>15}{'zero, 90 %':>12}{'median sd, %':>14}",
        _sheet_line("all", sheets),
    ]
    for tolerance in _values(sheets, "tolerance_pct"):
        body.append(_sheet_line(f"of {tolerance:g} %", [row for row in sheets if row["tolerance_pct"] == tolerance]))
    for touched in _values(sheets, "touched"):
        body.append(_sheet_line(f"{touched:g} of them", [row for row in sheets if row["touched"] == touched]))
    body.append(f"{'two meters':30}{'n':>6}{'ratio, 95 %':>15}{'second current, 90 %':>22}{'median width, %':>17}")
    body.append(_pair_line("all", pairs))
    for low, high in ((3, 5), (6, 10), (11, 20)):
        some = [row for row in pairs if low <= row["touched"] <= high]
        body.append(_pair_line(f"{low} to {high} contacts", some))
    return "\n".join(body)


def _values(rows: Iterable[Row], name: str) -> list[float]:
    return sorted({row[name] for row in rows})


def _sheet_line(words: str, rows: list[Row]) -> str:
    width = statistics.median(row["current_sd_pct"] for row in rows)
    return (
        f"  {words:28}{len(rows):6}{_within(rows, 'current_off_sd'):15.3f}{_within(rows, 'zero_off_sd'):12.3f}"
        f"{width:14.2f}"
    )


def _pair_line(words: str, rows: list[Row]) -> str:
    if not rows:
        return f"  {words:28}{0:6}"
    width = statistics.median(row["width_pct"] for row in rows)
    return f"  {words:28}{len(rows):6}{_covered(rows):15.3f}{_within(rows, 'current_off_sd'):22.3f}{width:17.1f}"
