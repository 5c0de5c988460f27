"""The readings of a job as a file for other programs: CSV as RFC 4180 has it, or JSON; UTF-8, units in the names."""

from typing import Literal

from shared_models.base import Model
from shared_models.job import Job
from shared_models.reading import Meter, Reading

FileKind = Literal["csv", "json"]


class ReadingsQuestion(Model, frozen=True, kw_only=True):
    """All readings of a job, those taken back too and named in `removed_ids`, and the meters they were taken with."""

    job: Job
    readings: tuple[Reading, ...] = ()
    removed_ids: tuple[str, ...] = ()
    meters: tuple[Meter, ...] = ()
    wanted: FileKind = "csv"


class ReadingsFile(Model, frozen=True, kw_only=True):
    """The file: a name for it, its media type, and its whole text."""

    name: str
    media_type: str
    text: str
