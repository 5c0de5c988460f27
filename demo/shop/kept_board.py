"""A repaired board that works and stands among the healthy ones, as the phone writes it when the job is closed."""

from msgspec.structs import replace

from demo.shop.trays import JobRecord
from shared_models.base import Model
from shared_models.board import ReferenceBoard
from shared_models.reading import AtContact, OfReferenceBoard, Reading


class KeptBoard(Model, frozen=True, kw_only=True):
    """One more healthy board, with copies of the job's readings after the repair."""

    board: ReferenceBoard
    readings: tuple[Reading, ...]


def kept_board(record: JobRecord, closed_at_ms: int) -> KeptBoard:
    """The job's board as a healthy one. Its ids come from the job's and the readings', as on every phone."""
    job = record.job
    assert job.board_version_id is not None
    board = ReferenceBoard(
        id=f"repaired-{job.id}", board_version_id=job.board_version_id, label="repaired, works",
        read_at_ms=closed_at_ms, air_c=job.air_c,
    )
    readings = tuple(
        replace(
            one, id=f"repaired-{one.id}", of=OfReferenceBoard(reference_board_id=board.id), stage="on_healthy_board",
            supersedes=None, note="",
        )
        for one in record.readings
        if one.stage == "after_repair" and isinstance(one.touch, AtContact) and one.kind == "drop"
    )
    return KeptBoard(board=board, readings=readings)
