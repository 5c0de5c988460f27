"""The healthy boards of a socket: per contact and lead the band they make, and each board as a mark.

A mark is a board's own reading carried to the sheet's meter and temperature, so that it stands on the same scale
as the band. A board set aside by hand makes no band, but its mark is carried too: whoever takes it back sees why.
"""

import msgspec

from server.engine.accept import Facts, Notes, accept_known_good
from server.engine.bands import Healthy
from server.engine.contact_opinion import band_of
from server.engine.meters import Conditions
from server.engine.prepared import Prepared, prepare
from server.engine.reference_cells import ReferenceCell, reference_cells
from server.engine.rounding import millivolts, plain
from server.engine.session import known_bands, open_circuit_of, session_conditions
from server.engine.session_fit import fit_from_references
from server.engine.views import views_of
from shared_models.healthy_bands import HealthyBands, HealthyContact
from shared_models.opinion import Band, BoardMark
from shared_models.reading import LeadOnGround, Meter
from shared_models.sheet import BenchSheet

LEADS: tuple[LeadOnGround, LeadOnGround] = ("red", "black")

Cells = dict[tuple[int, str], ReferenceCell]

_decoder = msgspec.json.Decoder(BenchSheet)
_encoder = msgspec.json.Encoder()


def healthy_bands(sheet: BenchSheet) -> HealthyBands:
    """The bands for the sheet's meter and air; readings of the job are not looked at. Raises SheetError."""
    prepared = prepare(sheet)
    meters = {meter.id: meter for meter in sorted(sheet.meters, key=msgspec.json.encode)}
    at = session_conditions(sheet, Facts([], [], {}, []), meters)
    known = known_bands(prepared, meters, at)
    unread, _ = fit_from_references(prepared, {}, known.bands, at, known.current_sd, at.air_sd_k)
    views = views_of(prepared, {}, known.bands, unread, at, open_circuit_of(at.meter_id, meters), {}, LEADS)
    aside = _set_aside_by_hand(sheet, prepared, meters, at)
    contacts = []
    for place, contact in enumerate(prepared.board.contacts):
        red, black = (
            _with_marks(band_of(views[key], known.bands[key]), known.bands[key], known.cells, aside, key)
            for key in ((place, lead) for lead in LEADS)
        )
        contacts.append(HealthyContact(contact=contact.number, red=red, black=black))
    return HealthyBands(
        contacts=tuple(contacts),
        current_ma=plain(at.current_ma),
        air_c=plain(at.air_c),
        told_by_sheet=at.told,
        questions=tuple(sorted(prepared.notes.questions, key=msgspec.json.encode)),
        set_aside=tuple(sorted(prepared.notes.set_aside, key=msgspec.json.encode)),
    )


def healthy_bands_json(sheet_json: bytes) -> bytes:
    """A BenchSheet as JSON -> HealthyBands as JSON. Raises msgspec.DecodeError or ValidationError, or SheetError."""
    return _encoder.encode(healthy_bands(_decoder.decode(sheet_json)))


def _set_aside_by_hand(sheet: BenchSheet, prepared: Prepared, meters: dict[str, Meter], at: Conditions) -> Cells:
    """The boards somebody set aside, carried like the others."""
    boards = tuple(
        msgspec.structs.replace(board, set_aside_why=None) for board in sheet.reference_boards if board.set_aside_why
    )
    ids = [board.id for board in boards]
    readings = tuple(
        reading for reading in sheet.known_good_readings if getattr(reading.of, "reference_board_id", None) in ids
    )
    alone = msgspec.structs.replace(sheet, reference_boards=boards, known_good_readings=readings)
    return reference_cells(prepared.board, accept_known_good(alone, prepared.board, Notes([], [])).sweep, meters, at)


def _with_marks(band: Band, healthy: Healthy, cells: Cells, aside: Cells, key: tuple[int, str]) -> Band:
    marks = [*_marks(cells.get(key), healthy.odd_boards), *_marks(aside.get(key), None)]
    ordered = tuple(sorted(marks, key=lambda mark: mark.reference_board_id))
    return msgspec.structs.replace(band, marks=ordered, set_aside_boards=healthy.odd_boards)


def _marks(cell: ReferenceCell | None, odd: tuple[str, ...] | None) -> list[BoardMark]:
    """The boards of a cell; `odd` names those that do not count, None: none of them does."""
    if cell is None:
        return []
    told = [
        BoardMark(
            reference_board_id=board,
            read_mv=millivolts(read_mv),
            carried_mv=millivolts(carried_mv),
            same_meter=same_meter,
            counts=odd is not None and board not in odd,
        )
        for board, carried_mv, (read_mv, same_meter) in zip(cell.boards, cell.values, cell.as_read, strict=True)
    ]
    told += [
        BoardMark(reference_board_id=board, reads_ol=True, counts=odd is not None) for board in cell.over_boards
    ]
    return told
