"""The readings of a job as files from the server, and a job that is not there."""

import csv
import io
from typing import Any

from litestar.testing import AsyncTestClient

from tests.sync.making import added, batch, change, fields_set, reading, removed

Client = AsyncTestClient[Any]
JSON = {"Content-Type": "application/json"}


async def fill(client: Client) -> None:
    """A job with three readings, one of them taken back, one replaced; and a reading of another job."""
    changes = [
        change(1, fields_set({"title": "Quennell's tablet", "socket": "J7"})),
        change(2, fields_set({"name": "Bench meter", "test_current_ma": 1.0}, "meter-1", "meter")),
        change(3, added(reading("r-1", as_typed="-0.012", display_unit="V", kind="volts"))),
        change(4, added(reading("r-2", as_typed="OL", note="=HYPERLINK(1)"))),
        change(5, added(reading("r-3", supersedes="r-2", as_typed="481"))),
        change(6, added(reading("r-4"))),
        change(7, removed("r-4")),
        change(8, added(reading("r-5", "job-2"))),
    ]
    answer = await client.post("/api/changes", content=batch(*changes), headers=JSON)
    assert {one["result"] for one in answer.json()["answers"]} == {"stored"}


async def test_a_jobs_readings_are_a_csv_file_with_what_no_longer_stands_named(client: Client) -> None:
    await fill(client)
    answer = await client.get("/api/jobs/job-1/readings.csv")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/csv; header=present; charset=utf-8"
    assert answer.headers["content-disposition"] == 'attachment; filename="readings-quennell-s-tablet.csv"'
    rows = {row["reading_id"]: row for row in csv.DictReader(io.StringIO(answer.text, newline=""), strict=True)}
    assert set(rows) == {"r-1", "r-2", "r-3", "r-4"}
    assert (rows["r-1"]["volts_mv"], rows["r-1"]["meter"]) == ("-12.0", "Bench meter")
    assert (rows["r-2"]["replaced_by"], rows["r-2"]["note"]) == ("r-3", "'=HYPERLINK(1)")
    assert (rows["r-4"]["taken_back"], rows["r-3"]["taken_back"]) == ("yes", "no")


async def test_a_jobs_readings_are_json_with_the_same_rows(client: Client) -> None:
    await fill(client)
    answer = await client.get("/api/jobs/job-1/readings.json")
    assert answer.headers["content-type"] == "application/json"
    told = answer.json()
    assert [(row["reading_id"], row["volts_mv"], row["taken_back"]) for row in told["readings"]] == [
        ("r-1", -12.0, False), ("r-2", None, False), ("r-3", None, False), ("r-4", None, True)]


async def test_a_job_that_is_not_there_is_said_in_the_one_shape(client: Client) -> None:
    for ending in ("csv", "json"):
        answer = await client.get(f"/api/jobs/nobody/readings.{ending}")
        problem = answer.json()["problem"]
        assert (answer.status_code, problem["code"], problem["given"]) == (404, "no_such_job", '"nobody"')
        assert problem["expected"] and problem["example"]
