"""The technician's sheet: everything the record and the opinion hold of a job, as headed lists and tables."""

from shared_models.base import BODY_V, Model


class SheetTable(Model, frozen=True, kw_only=True):
    """A table: its columns with their units, and rows of texts as long as the columns."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


class SheetPart(Model, frozen=True, kw_only=True):
    """One headed part: lines, and a table under them where there is one."""

    id: str
    title: str
    lines: tuple[str, ...] = ()
    table: SheetTable | None = None


class TechnicianSheet(Model, frozen=True, kw_only=True):
    """The sheet, part by part; a part that holds nothing is left out."""

    title: str
    shop: str
    made: str
    parts: tuple[SheetPart, ...]
    v: int = BODY_V
