"""The doors of the engine: a bench sheet in, an opinion out. Also runs on the phone.

The order of calls is the order to read this folder in: accept (quantities) -> prepared (roles,
stories, overstress, latent) -> inference (meters, bands, student, numbering, drops, evidence) ->
verdicts -> account -> touches, probing -> decide (chances, options, stop_list, before_power) -> reminders ->
rounding, wording. Same sheet, same bytes,
here and on the phone, warm or cold, whatever the order of its lists.
"""

import math

import msgspec

from server.engine.accept import Notes, accept_readings
from server.engine.accepted_board import accept_board
from server.engine.account import decisions_of, numbering_of, stories_of
from server.engine.candidate import hypotheses
from server.engine.constants import CONSTANTS_VERSION
from server.engine.constants.next_touch import ODD_MIN, VERDICT_Z_RETOUCH
from server.engine.constants.sessions import CURRENT_SD_UNKNOWN, PERCENT
from server.engine.contact_opinion import contact_opinions, current_known_within
from server.engine.decide import decide
from server.engine.digest import board_digest, sheet_digest
from server.engine.errors import SheetError
from server.engine.in_ohms import smallest_leak_missed
from server.engine.inference import Judged, judge
from server.engine.learning_words import learnt_reasons
from server.engine.meters import carry, conditions_of, slopes
from server.engine.overstress import overstress_of
from server.engine.prepared import prepare
from server.engine.probing import next_touches
from server.engine.reminders import gate_waits_for, reminders_of
from server.engine.roles import PLAIN_PATH, SIGNAL_ROLES
from server.engine.rounding import millivolts, plain, test_current
from server.engine.sheet_bytes import read_sheet
from server.engine.touches import candidates
from server.engine.verdicts import contact_states, odds_of_kind
from server.engine.wording_findings import found
from server.engine.wording_ohms import current_not_told, not_shown, references_not_told
from server.engine.wording_units import forced_words
from shared_models.board import BoardVersion
from shared_models.opinion import Number, Opinion, Overstress, Question, Reason, Session, SetAside
from shared_models.sheet import BenchSheet

ENGINE_VERSION = "0.1.0"

_encoder = msgspec.json.Encoder()


def form_opinion(sheet: BenchSheet) -> Opinion:
    """The opinion on a sheet. Raises SheetError when there is nothing to judge against."""
    return _opinion(sheet, board_digest(sheet))


def _opinion(sheet: BenchSheet, board: bytes) -> Opinion:
    prepared = prepare(sheet)
    notes = Notes(list(prepared.notes.questions), list(prepared.notes.set_aside))
    facts = accept_readings(sheet, prepared.board, notes)
    judged = judge(sheet, prepared, facts)
    _name_what_is_not_weighed(judged, notes)
    _ask_about_limits(judged, notes)
    _ask_about_states(judged, notes)
    states = contact_states(judged)
    known = hypotheses(judged)
    data_matters = sheet.intake.data_matters != "no"
    places = candidates(judged, states, known, data_matters=data_matters)
    shown, stop = next_touches(judged, states, known, places, data_matters=data_matters)
    what_next = decide(sheet, judged, states, known, shown, stop)
    waits_for = gate_waits_for(
        (contact.role for contact in prepared.board.contacts),
        (proof for proof in sheet.make_safe if proof.id not in sheet.removed_ids),
    )
    return Opinion(
        engine_version=ENGINE_VERSION,
        constants_version=CONSTANTS_VERSION,
        sheet_id=sheet.sheet_id,
        sheet_digest=sheet_digest(sheet, board),
        gate_open=not waits_for,
        gate_waits_for=waits_for,
        questions=tuple(sorted(notes.questions, key=msgspec.json.encode)),
        set_aside=tuple(sorted(notes.set_aside, key=msgspec.json.encode)),
        session=_session(judged),
        numbering=numbering_of(judged),
        contacts=contact_opinions(judged, states),
        stories=stories_of(judged, states),
        decisions=decisions_of(judged),
        next=shown,
        stop=stop,
        reminders=reminders_of(sheet, judged, known, waits_for, may_power=what_next.power.may),
        chances=what_next.chances,
        options=what_next.options,
        stop_list=what_next.stop_list,
        before_power=what_next.power,
        learnt=learnt_reasons(sheet.shop),
    )


def _name_what_is_not_weighed(judged: Judged, notes: Notes) -> None:
    """Readings that are kept but move no odds yet are named, so that nobody believes they did."""
    weighed = [finding.record_id for finding in judged.findings if finding.code != "may_be_honest"]
    honest = {one.record_id: found(one).sentence for one in judged.findings if one.code == "may_be_honest"}
    for touched in judged.facts.further:
        if touched.reading.id not in weighed:
            sentence = honest.get(
                touched.reading.id, "Kept in the record; readings of this kind at this place do not move the odds yet."
            )
            notes.set_aside.append(SetAside(record_id=touched.reading.id, code="not_weighed", sentence=sentence))


def _ask_about_limits(judged: Judged, notes: Notes) -> None:
    """Numbers above what their meter can show are asked about; of several the meter's limit is not used."""
    for _, above in sorted(judged.above_limit.items()):
        wrong = "its limit is not used until its sheet is put right" if above.limit_is_wrong else (
            "one of the two is mistyped"
        )
        sentence = (
            f"{above.highest_mv:.0f} mV is more than {above.meter_name} can show, whose sheet says OL from "
            f"{above.limit_mv:.0f} mV on: {wrong}."
        )
        notes.questions.append(Question(code="above_the_meter", sentence=sentence))


def _ask_about_states(judged: Judged, notes: Notes) -> None:
    """A part that was measured open and whole is asked about; the two answers say nothing either way."""
    across = [one for one in judged.findings if one.code == "part_open"]
    for part in sorted({one.where for one in across}):
        if {one.was_so for one in across if one.where == part} == {True, False}:
            sentence = f"{part} was measured open and not open: until one is taken back they say nothing either way."
            notes.questions.append(Question(code="part_in_two_states", sentence=sentence))


def opinion_json(sheet_json: bytes) -> bytes:
    """The same, from JSON to JSON. Raises msgspec.DecodeError or ValidationError (with a path), or SheetError."""
    return _encoder.encode(_opinion(*read_sheet(sheet_json)))


def overstress_map(board: BoardVersion, socket: str, slip: int) -> tuple[Overstress, ...]:
    """Who meets which voltage with the plug `slip` places off. Raises SheetError for an unknown socket."""
    sheet = BenchSheet(sheet_id="map", asked_at_ms=0, board=board, socket=socket)
    return tuple(overstress_of(accept_board(sheet), slip))


def _session(judged: Judged) -> Session:
    at, fit = judged.at, judged.fit.common
    if not judged.facts.sweep:
        return Session(told_by_sheet=at.told)
    to_ma = at.current_ma * math.exp(fit.log_current)
    junctions = sorted(
        (band.loc, band.carried_mv)
        for (contact, lead), band in judged.bands.items()
        if lead == "red"
        and band.ol_odds < 0.5
        and band.rests_on == "reference_boards"
        and judged.prepared.board.paths[contact] is not None
    )
    middle, carried = junctions[len(junctions) // 2] if junctions else (0.0, 0.0)
    shift = carry(middle, PLAIN_PATH, at.current_ma, at.air_c, to_ma, at.air_c + fit.kelvin) - middle + carried
    aa, ab, _, bb, _, _ = fit.covariance
    per_log, per_k = slopes(middle, PLAIN_PATH, at.current_ma, at.air_c)
    variance = per_log * per_log * aa + per_k * per_k * bb + 2 * per_log * per_k * ab
    reasons = _session_reasons(judged, shift, to_ma)
    return Session(
        current_ma=test_current(to_ma),
        current_sd_pct=plain(PERCENT * math.sqrt(aa)),
        junction_c=plain(at.air_c + fit.kelvin),
        junction_sd_k=plain(math.sqrt(bb)),
        shift_mv=millivolts(shift),
        shift_sd_mv=millivolts(math.sqrt(max(0.0, variance))),
        offset_mv=millivolts(judged.fit.offset_mv),
        contacts_used=judged.fit.used,
        told_by_sheet=at.told,
        reasons=reasons,
    )


def _session_reasons(judged: Judged, shift_mv: float, to_ma: float) -> tuple[Reason, ...]:
    told = _currents_nobody_measured(judged, to_ma)
    if abs(shift_mv) > 2:
        side = "higher" if shift_mv > 0 else "lower"
        how = (
            "the meter's sheet and the air say so"
            if judged.at.told
            else "the meter has no sheet; its current was found from the readings themselves"
        )
        told.append(
            Reason(
                code="common_shift",
                numbers=(
                    Number(name="shift_mv", value=millivolts(shift_mv)),
                    Number(name="current_ma", value=test_current(to_ma)),
                ),
                sentence=(
                    f"Everything here reads about {abs(shift_mv):.0f} mV {side} than on the healthy "
                    f"boards, more where a resistor lies in series: {how} ({forced_words(to_ma)}). It was "
                    "taken out, path by path."
                ),
            )
        )
    junction_c = judged.at.air_c + judged.fit.common.kelvin
    far_warm = abs(judged.fit.common.kelvin) > VERDICT_Z_RETOUCH * judged.at.air_sd_k
    far_current = judged.at.told and abs(judged.fit.common.log_current) > VERDICT_Z_RETOUCH * judged.at.current_sd
    doubted = odds_of_kind(judged, "meter_differs") > ODD_MIN
    if judged.facts.sweep and (far_warm or far_current or doubted):
        told.append(
            Reason(
                code="session_differs",
                sentence=(
                    f"The readings fit {forced_words(to_ma)} and {junction_c:.0f} °C, far from what "
                    "was told: another meter, a warm or cold board, or healthy boards of another revision."
                ),
                numbers=(
                    Number(name="current_ma", value=test_current(to_ma)),
                    Number(name="junction_c", value=plain(junction_c)),
                ),
            )
        )
    missed = sorted(
        ohm
        for contact, ohm in (
            (contact, smallest_leak_missed(judged.views[contact, lead], judged.bands[contact, lead]))
            for contact, lead in sorted(judged.seen)
            if lead == "red" and judged.prepared.board.contacts[contact].role in SIGNAL_ROLES
        )
        if ohm is not None
    )
    if missed:
        told.append(not_shown(missed[len(missed) // 2], to_ma))
    if judged.fit.offset_mv and abs(judged.fit.offset_mv) > 2:
        told.append(
            Reason(
                code="common_offset",
                sentence=f"Contacts of no known path are off by {judged.fit.offset_mv:.0f} mV together; taken out.",
                numbers=(Number(name="offset_mv", value=millivolts(judged.fit.offset_mv)),),
            )
        )
    return tuple(told)


def _currents_nobody_measured(judged: Judged, to_ma: float) -> list[Reason]:
    """What rests on a current that no sheet says: this session's own, and those of the healthy boards."""
    told = []
    if current_known_within(judged) >= CURRENT_SD_UNKNOWN:
        told.append(current_not_told(to_ma))
    boards = {
        board
        for meter_id, board in judged.prepared.known.read_with
        if meter_id != judged.at.meter_id and not conditions_of("", judged.meters.get(meter_id), None).told
    }
    if boards:
        told.append(references_not_told(len(boards)))
    return told


__all__ = ["SheetError", "form_opinion", "opinion_json", "overstress_map", "sheet_digest"]
