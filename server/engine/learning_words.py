"""What the engine says of closed jobs: why one does not count, what is not learnt, what moved an opinion's odds."""

import math
from collections.abc import Iterable
from typing import Literal

from server.engine.rounding import probability
from shared_models.learning import NotCounted
from shared_models.opinion import Number, Reason
from shared_models.sheet import Shop

Why = Literal["disputed", "before_reset", "never_found_out", "only_believed", "not_in_table", "no_odds"]
WHY_NOT: dict[Why, str] = {
    "disputed": "closed twice, differently: nothing of it counts until somebody says which holds",
    "before_reset": "closed before learning was begun anew",
    "never_found_out": "never found out: its touches count, not what happened",
    "only_believed": "believed and not shown: the odds would learn their own opinion",
    "not_in_table": "was what the table has no share of",
    "no_odds": "closed without an opinion before it",
}
NOT_LEARNT = (
    "What healthy contacts read comes from healthy boards; a repaired one is among them where you said so at closing.",
    "What was said at the counter moves the odds as in the table, and so does a second fault beside a first.",
    "Chances after a damaged chip or an event stay as in the table: a closing does not say which chips hold the data.",
    "A failed touch that nobody touched again is not among the failed ones.",
)


def counted_words(count: int, one: str, many: str | None = None) -> str:
    """A count with its word: "1 job", "3 jobs"."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def not_counted(code: Why, jobs: list[str]) -> NotCounted:
    """Jobs that do not count, with why."""
    return NotCounted(
        code=code, job_ids=tuple(sorted(jobs)), sentence=f"{counted_words(len(jobs), 'job')} {WHY_NOT[code]}."
    )


def learnt_reasons(shop: Shop | None) -> tuple[Reason, ...]:
    """What of the shop's closed jobs moved an opinion's odds; nothing where nothing did."""
    if shop is None:
        return ()
    told: list[Reason] = []
    if shop.learnt_jobs:
        told.append(
            Reason(
                code="learnt_jobs",
                sentence=f"{counted_words(shop.learnt_jobs, 'closed job')} of this shop"
                f" {'moves' if shop.learnt_jobs == 1 else 'move'} the odds.",
                numbers=(Number(name="jobs", value=float(shop.learnt_jobs)),),
            )
        )
    count = together(one.lines for one in shop.exposures)
    if count:
        told.append(
            Reason(
                code="learnt_lines",
                sentence=f"What became of {counted_words(count, 'line')} that met a voltage says what such lines read.",
                numbers=(Number(name="lines", value=float(count)),),
            )
        )
    shares = [one for one in (shop.touch_fails_wide, shop.touch_fails_fine) if one is not None]
    if shares and shop.learnt_touches:
        told.append(
            Reason(
                code="learnt_touches",
                sentence=f"{counted_words(shop.learnt_touches, 'touch', 'touches')} here say how often one fails.",
                numbers=(Number(name="touches", value=float(shop.learnt_touches)), *_shares(shares)),
            )
        )
    return tuple(told)


def _shares(shares: list[float]) -> tuple[Number, ...]:
    return tuple(Number(name="fails_share", value=probability(one)) for one in shares)


def together(counts: Iterable[int]) -> int:
    """Whole numbers added up."""
    return int(math.fsum(counts))
