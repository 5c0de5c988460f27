"""What a second look made worse, or left unseen: `python3 tests load bench --show N --pairs N`.

Of each way of looking the signals that are flagged though healthy, and the faults that are still missed, with both
readings beside what a good touch of the unspoilt contact would have shown.
"""

from collections.abc import Iterable, Iterator

from tests.support.bench.contact_rows import FLAGGED
from tests.support.bench.further import Further
from tests.support.bench.further_rows import ONE, OTHER_LEAD, WAYS, further_rows
from tests.support.bench.jobs import OnBench
from tests.support.bench.shift_rows import healthy_shown

HEAD = (
    f"  {'':8}{'contact':>8} {'role':16}{'chip':9}{'read':>6}{'healthy':>8}{'second':>8}{'healthy':>8}{'odd':>8}"
    f"{'before':>8}  fault"
)


def shown_further(read: Iterable[Further]) -> Iterator[str]:
    """Lines of text, job by job and way by way."""
    for one in read:
        rows = further_rows(one)
        contacts = [contact for contact, line in enumerate(one.job.plan.lines) if line.conducts]
        for way in WAYS[1:]:
            second = one.other_lead if way == OTHER_LEAD else one.seconds[float(way)]
            lines = [
                _line(one, second, contact, row, way)
                for contact, row in zip(contacts, rows, strict=True)
                if row["number"] and not row["rail"] and (row["first"][way] > FLAGGED) == (row["what"] == "healthy")
            ]
            if lines:
                yield f"TWICE {one.job.weather} {one.job.index} {one.job.plan.name}, {_words(one.first, second, way)}"
                yield HEAD
                yield from lines
                yield ""


def _words(first: OnBench, second: OnBench, way: str) -> str:
    told = [
        f"is {one.session.current_ma:.3f} mA, told {one.session.told_current_ma:.3f}, gain {one.session.gain:.4f}, "
        f"zero {one.session.offset_mv:+.1f} mV"
        for one in (first, second)
    ]
    again = "black on ground" if way == OTHER_LEAD else told[1]
    return f"{first.session.celsius:.1f} C (told {first.session.told_air_c:.1f}): {told[0]}; then {again}"


def _line(one: Further, second: OnBench, contact: int, row: dict[str, object], way: str) -> str:
    line, odds = one.job.plan.lines[contact], row["first"]
    assert isinstance(odds, dict)
    cells = [one.first.first[contact], healthy_shown(one.first, contact)]
    cells += [second.first[contact], healthy_shown(second, contact)]
    numbers = "".join(
        f"{'OL' if mv is None else f'{mv:.{digits}f}':>{width}}"
        for mv, digits, width in zip(cells, (0, 1, 0, 1), (6, 8, 8, 8), strict=True)
    )
    what = "FLAGGED" if row["what"] == "healthy" else "MISSED"
    return (
        f"  {what:8}{line.number:>8} {line.role:16}{line.chip:9}{numbers}{odds[way]:8.3f}{odds[ONE]:8.3f}  "
        f"{row['what']} {row['size'] or ''}"
    ).rstrip()
