"""What the owner's page says of what may come: chances, advice, and what waiting makes worse.

Absent once it is known: what is proved mended, or closed as working, has no chances. Also runs on the phone.
"""

import math

from server.engine.owner_words import OWN_MEASURING, line
from server.engine.papers import Papers, money, standing_closing
from shared_models.chances import Chances
from shared_models.owner_page import PageChance, PaperLine


def chances_on_page(papers: Papers) -> tuple[PageChance, ...]:
    """Device and data apart, as the opinion has them; absent where it has none, or where it is known by now."""
    chances, closing = _chances_of(papers), standing_closing(papers.question.closings)
    if chances is None:
        return ()
    told = []
    if closing is None or closing.device == "not_tried":
        full = chances.in_full
        means = line("chance_device") if full is None else line("chance_device_without", full=full.in_tens)
        told.append(PageChance(of="device", chance=line("chance", tens=chances.device.in_tens), means=means))
    out_of_reach = closing is None or closing.device in ("not_tried", "does_not_work")  # one that works has its data
    if chances.data is not None and out_of_reach and (closing is None or closing.data in ("not_touched", "not_asked")):
        chance = line("chance", tens=chances.data.in_tens)
        told.append(PageChance(of="data", chance=chance, means=line("chance_data")))
    return tuple(told)


def rests_on(papers: Papers) -> PaperLine | None:
    """On what the chances of the page rest; none where it has no chances."""
    chances = _chances_of(papers)
    if chances is None or not chances_on_page(papers):
        return None
    return line("chances_rest_on", what=chances.rests_on.sentence)


def advice(papers: Papers) -> tuple[PaperLine, ...]:
    """The first way of going on, with what is needed beside it, and what that costs by the shop's own figures."""
    options = papers.opinion.options if papers.opinion is not None and _is_open(papers) else None
    ways = [one for one in (options.ways if options is not None else ()) if one.helps]
    if options is None or not ways:
        return ()
    needed = [ways[0], *(one for one in ways if one.kind in ways[0].beside)]
    told = [line("advice", what=tuple(one.title[0].lower() + one.title[1:] for one in needed))]
    costs = [one.whole_cost for one in needed if one.whole_cost is not None]
    if len(costs) == len(needed):
        told.append(line("advice_cost", cost=money(math.fsum(costs), options.currency)))
    return tuple(told)


def waiting(papers: Papers) -> tuple[PaperLine, ...]:
    """What gets worse by waiting or by charging, while it is neither proved mended nor said to work."""
    opinion, intake = papers.opinion, papers.question.job.intake
    closing = standing_closing(papers.question.closings)
    if (papers.proof is not None and papers.proof.proven) or (closing is not None and closing.device == "works"):
        return ()
    told = []
    leading = opinion.stories[0].kind if opinion is not None and opinion.stories else ""
    wet_seen = any(one.seen == "wet" for one in papers.question.observations)
    if "liquid" in intake.what_happened or leading == "wet" or wet_seen:
        told.append(line("waiting_wet"))
    read = opinion.contacts if opinion is not None else ()
    if leading in ("rail_short", "shunt_short") or any(one.verdict == "short" for one in read):
        told.append(line("waiting_short"))
    settled = closing is not None and closing.data in ("safe", "lost")
    if intake.data_matters == "yes" and not settled and leading not in ("", "nothing_wrong", "elsewhere"):
        told.append(line("waiting_data"))
    if any(one.code == "module_not_again" for one in (opinion.reminders if opinion is not None else ())):
        told.append(line("waiting_module"))
    return tuple(told)


def _is_open(papers: Papers) -> bool:
    """Whether a way of going on is still to be proposed: not once it is mended, closed, or not yet measured."""
    return _chances_of(papers) is not None and standing_closing(papers.question.closings) is None


def _chances_of(papers: Papers) -> Chances | None:
    """The opinion's chances, while something may come: not once it is mended, nor before anything is measured."""
    opinion = papers.opinion
    if opinion is None or not opinion.stories or opinion.stories[0].kind in OWN_MEASURING:
        return None
    mended = papers.proof is not None and papers.proof.proven
    return opinion.chances if not mended and any(one.touches for one in opinion.contacts) else None
