"""An opinion as plain text for a terminal: the same sentences in the order a person asks for them."""

from server.engine.constants.next_touch import BOXES
from shared_models.opinion import Opinion


def opinion_text(opinion: Opinion) -> str:
    """The opinion in words, for `secondprobe opinion --text`; ends with a newline."""
    lines: list[str] = []
    for reminder in opinion.reminders:
        lines.append(("! " if reminder.blocks else "- ") + reminder.sentence)
    lines.append("")
    if opinion.questions:
        lines += ["Asked before it counts:", *(f"  {one.sentence}" for one in opinion.questions), ""]
    if opinion.numbering.order != "as_drawn":
        lines += [opinion.numbering.sentence, ""]
    lines += _stories(opinion) + _contacts(opinion) + _next(opinion)
    lines += [f"  {reason.sentence}" for reason in (*opinion.session.reasons, *opinion.learnt)]
    if opinion.set_aside:
        lines += ["", "Not used:", *(f"  {one.record_id}: {one.sentence}" for one in opinion.set_aside)]
    return "\n".join(lines).rstrip() + "\n"


def _boxes(odds: float) -> str:
    full = min(BOXES, max(1 if odds > 0 else 0, round(odds * BOXES)))
    return "#" * full + "." * (BOXES - full)


def _stories(opinion: Opinion) -> list[str]:
    lines = ["What happened"]
    groups = [one.group for one in opinion.stories if one.kind != "counted_differently"]
    for one in opinion.stories:
        if one.kind == "counted_differently":
            continue
        alike = " (told apart by nothing yet)" if groups.count(one.group) > 1 else ""
        lines.append(f"  {_boxes(one.odds)} {one.title}{alike}")
        lines += [f"             {reason.sentence}" for reason in one.reasons]
        if one.second_title is not None and one.second_odds > 0.5:
            lines.append(f"             beside it: {one.second_title}")
    return [*lines, ""]


def _contacts(opinion: Opinion) -> list[str]:
    lines = ["Contacts"]
    odd = [one for one in opinion.contacts if one.verdict not in ("expected", "unseen") and one.touches]
    for one in odd:
        again = "; touch it again" if one.touch_again else ""
        written = f" (you wrote {one.written_as})" if one.written_as else ""
        lines.append(f"  {one.contact}{written}: {one.verdict}{again}")
        lines += [f"     {reason.sentence}" for reason in one.reasons]
    for verdict in ("expected", "unseen", "unread"):
        names = [one.contact for one in opinion.contacts if one.verdict == verdict and one not in odd]
        if names:
            lines.append(f"  {len(names)} {verdict}: {', '.join(names)}")
    return [*lines, ""]


def _next(opinion: Opinion) -> list[str]:
    lines = ["Next touch"]
    for one in opinion.next:
        lines.append(f"  {one.title}, {one.seconds:.0f} s")
        lines += [f"     {reason.sentence}" for reason in one.reasons]
    if opinion.stop is not None:
        lines.append(f"  {opinion.stop.sentence}")
    return [*lines, ""]
