"""What must stand before power goes on, read from the job; and the first draw, judged.

Decides nothing for the technician: it names what is missing and stops there. The lines are
`decision_tables.POWER_CHECKS`; what was ticked before the last power-up does not count for the next one. Also runs on
the phone.
"""

from server.engine.draw import draw_judged, draws_of
from server.engine.inference import Judged
from server.engine.reminders import gate_waits_for
from server.engine.unexplained import low_lines, named, newest_checks
from server.engine.verdicts import ContactState
from server.engine.wording_power import AGAIN, LINE_WORDS, in_volts, listed, missing_words
from shared_models.chances import BeforePower, PowerLine
from shared_models.decision_tables import POWER_CHECKS, PowerCheckRow
from shared_models.power import PowerCheck
from shared_models.sheet import BenchSheet


def before_power(sheet: BenchSheet, judged: Judged, states: list[ContactState], lows: list[int]) -> BeforePower:
    """The list as the job stands. `lows`: the low lines that nothing explains (`unexplained.unexplained`)."""
    board, checks = judged.prepared.board, newest_checks(sheet)
    unexplained = tuple(board.contacts[index].number for index in lows)
    open_lows = () if named(sheet) else unexplained
    doubtful = bool(lows) and sheet.intake.data_matters != "no"
    roles = [contact.role for contact in board.contacts]
    shown = _shown(sheet, judged, states, lows)
    drawn_ms = max((one.seen_at_ms for one in draws_of(sheet)), default=0)
    lines = []
    for row in POWER_CHECKS:
        if (row.for_roles and not any(role in row.for_roles for role in roles)) or (row.when_doubtful and not doubtful):
            continue
        low = unexplained if row.when_doubtful else open_lows
        check = checks.get(row.id)
        if check is not None and check.checked_at_ms < drawn_ms and row.by == "hand":
            check = None  # each power-up has a list of its own
        lines.append(_line(row, check, shown.get(row.id), low, read=bool(judged.facts.sweep)))
    missing = [line for line in lines if line.state == "missing"]
    limit = checks.get("limit_set")
    again = AGAIN if drawn_ms and missing else ""
    return BeforePower(
        may=not missing,
        lines=tuple(lines),
        stops_at=missing[0].id if missing else "",
        sentence=again + missing_words([line.title for line in missing], limit),
        ask_twice=doubtful,
        lows=unexplained,
        draw=draw_judged(sheet, limit if limit is not None and limit.done else None),
    )


def _shown(sheet: BenchSheet, judged: Judged, states: list[ContactState], lows: list[int]) -> dict[str, str]:
    """What the record itself shows: line -> the sentence; a line that it does not show is not in it."""
    board = judged.prepared.board
    found: dict[str, str] = {}
    low = [board.contacts[index].number for index in low_lines(states)]
    if not judged.facts.sweep:
        pass  # a socket nobody has read says nothing of its lines
    elif not low:
        unread = len([index for index in range(len(board.contacts)) if (index, "red") not in judged.seen])
        left = f"; {unread} of {len(board.contacts)} are not read" if unread else ""
        found["lows_explained"] = f"No line that was read is low{left}."
    elif not lows:
        found["lows_explained"] = f"{listed(low)}: explained by what happened, and touched again."
    elif named(sheet):
        found["lows_explained"] = f"Named: {named(sheet)}"
    waits = gate_waits_for(
        [contact.role for contact in board.contacts],
        [proof for proof in sheet.make_safe if proof.id not in sheet.removed_ids],
    )
    for step in ("main_rail_proved", "led_capacitor_proved"):
        proofs = [one for one in sheet.make_safe if one.step == step and one.id not in sheet.removed_ids]
        if proofs and step not in waits:
            newest = max(proofs, key=lambda one: (one.proved_at_ms, one.id))
            found[step] = f"{in_volts(newest.measured_mv or 0.0)} at {newest.at_place}."
    looked = [one for one in sheet.observations if one.id not in sheet.removed_ids and one.subject == "board_socket"
              and not one.seen.startswith(("draw_", "torch_", "reads_"))]  # fmt: skip
    photos = [one for one in sheet.photos if one.id not in sheet.removed_ids]
    if looked or photos:
        found["socket_looked_at"] = f"{len(photos)} in pictures, {len(looked)} noted."
    return found


def _line(
    row: PowerCheckRow, check: PowerCheck | None, shown: str | None, lows: tuple[str, ...], *, read: bool
) -> PowerLine:
    contacts = lows if row.id == "lows_explained" else ()
    if shown is not None:
        return PowerLine(id=row.id, title=row.title, state="shown", sentence=shown, contacts=contacts)
    why = (check.waived_because or "").strip() if check is not None and row.waive_example else ""
    if why:
        return PowerLine(id=row.id, title=row.title, state="waived", sentence=f"Left out: {why}")
    if check is not None and check.done and row.by == "hand" and not _lacks(row, check):
        return PowerLine(id=row.id, title=row.title, state="ticked", sentence=_ticked(row, check))
    lacks = _lacks(row, check) if check is not None and check.done else ""
    name = "nothing_read" if row.id == "lows_explained" and not read else row.id
    words = LINE_WORDS.get(name, f"{row.detail[:1].upper()}{row.detail[1:]}.")
    sentence = lacks or words.format(lows=listed(lows))
    return PowerLine(id=row.id, title=row.title, state="missing", sentence=sentence, contacts=contacts)


def _lacks(row: PowerCheckRow, check: PowerCheck) -> str:
    """What a tick still lacks: a number, or a name."""
    if "limit_ma" in row.asks and check.limit_ma is None:
        return "Say the limit, for example 300 mA."
    if "expected_ma" in row.asks and check.expected_ma is None:
        return "Say what a healthy one draws, for example 120 mA."
    if "supply_mv" in row.asks and check.supply_mv is None:
        return "Say the supply's voltage, for example 4.0 V."
    if check.limit_ma is not None and check.expected_ma is not None and check.limit_ma < check.expected_ma:
        return "The limit is below what a healthy one draws: it would start again and again."
    if "who" in row.asks and not check.who.strip():
        return "Say who stands by."
    return ""


def _ticked(row: PowerCheckRow, check: PowerCheck) -> str:
    if check.limit_ma is not None and check.expected_ma is not None and check.supply_mv is not None:
        return f"{in_volts(check.supply_mv)}, limit {check.limit_ma:.0f} mA, {check.expected_ma:.0f} mA expected."
    if row.asks and check.who.strip():
        return check.who.strip()
    return row.detail
