"""A chip of another maker: lines of one chip and role stand apart from healthy boards' together.

The probability of their readings under such a chip is taken line by line, each given the lines before it (chain rule;
Gelman et al., Bayesian Data Analysis, 3rd edition, section 2.5, normal mean with known variance): the first may stand
anywhere within what makers differ by, and nowhere beyond; the next ones where the first ones say. One line alone that
stands off is then no other maker, nor are lines that are far off alike. Lines come in the order of their distance
from their group's middle, so that a line with a fault of its own comes last and moves nobody.
"""

import math
from collections.abc import Sequence

from server.engine.accepted_board import Board
from server.engine.common_fit import CommonFit
from server.engine.constants.next_touch import VERDICT_Z_RETOUCH
from server.engine.constants.overstress import REVISION_OWN_SD_MV, REVISION_SPAN_MV
from server.engine.drops import View
from server.engine.roles import leans_with
from server.engine.seen import Seen
from server.engine.stories.kinds import Story

Key = tuple[int, str]


def shifted_together(board: Board, seen: dict[Key, Seen], views: dict[Key, View]) -> dict[Key, View]:
    """The views with `other_maker`: where the line stands if its chip is another maker's, and how surely (mV)."""
    groups: dict[tuple[str, str], list[tuple[float, Key]]] = {}
    for key, one in seen.items():
        view = views.get(key)
        group = leans_with(board.contacts[key[0]])
        if view is not None and group and one.drop_mv is not None and one.rival is None and view.ol_odds < 0.5:
            groups.setdefault((group, key[1]), []).append((one.drop_mv - view.loc, key))
    told = dict(views)
    for _, lines in sorted(groups.items()):
        told.update(_of_group(lines, views))
    return told


def _of_group(lines: list[tuple[float, Key]], views: dict[Key, View]) -> dict[Key, View]:
    middle = sorted(off for off, _ in lines)[len(lines) // 2]
    told: dict[Key, View] = {}
    mean, variance = 0.0, 0.0
    for off, key in sorted(lines, key=lambda line: (abs(line[0] - middle), line[1])):
        view = views[key]
        own = view.scale * view.scale + REVISION_OWN_SD_MV * REVISION_OWN_SD_MV
        if not told:
            # of the first `drops` says that it lies anywhere in the span; after it only its own scatter is left
            told[key] = view
            mean, variance = min(max(off, -REVISION_SPAN_MV), REVISION_SPAN_MV), own
            continue
        told[key] = view._replace(other_maker=(view.loc + mean, math.sqrt(variance + own)))
        if abs(off - mean) < VERDICT_Z_RETOUCH * math.sqrt(variance + own):
            pull = variance / (variance + own)
            mean, variance = mean + pull * (off - mean), variance * (1 - pull)
    return told


def freed_of_leaning(stories: Sequence[Story], fit: CommonFit) -> dict[int, float]:
    """By how much (ln) a chip of another maker is likelier than its lines' own densities say, for each such story.

    Those densities stand where this board's chip leans, as found from the lines themselves. A chip that is as the
    healthy boards' has to have leant that far, one of another maker need not: of the Laplace approximation of the
    lean (Bishop, Pattern Recognition and Machine Learning, 2006, section 4.4.1) the healthy one owes the prior's
    density and width, but for what judging each line without itself took already.
    """
    told: dict[int, float] = {}
    for place, story in enumerate(stories):
        if story.kind != "other_revision":
            continue
        told[place] = math.fsum(
            0.5 * chip.lean * chip.lean + 0.5 * math.log(chip.precision) - (1 - 1 / chip.precision)
            for name, chip in sorted(fit.chips.items())
            if name.partition("/")[0] == (story.part or "")
        )
    return told
