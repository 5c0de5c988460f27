"""A server on a disk that is really full: it says so with the next step, and what it kept stays as it was."""

import json
import subprocess
import sys
from pathlib import Path

from tests.network.namespaces import made_or_skipped
from tests.sync.process import ROOT

ON_IT = """
import contextlib, hashlib, io, json, os, sys
from pathlib import Path
from server.cli import main
from server.store.database import check_record

disk, made_before = Path(sys.argv[1]), sys.argv[2] == "made"
data = disk / "data"
if made_before:
    check_record(data)

def record():
    return hashlib.sha256((data / "record.sqlite3").read_bytes()).hexdigest() if made_before else ""

before, said = record(), {}
with contextlib.suppress(OSError), (disk / "fill").open("wb", buffering=0) as file:
    while file.write(bytes(4096)):
        pass
commands = {"serve": ["serve", "--port", sys.argv[3], "--page-port", sys.argv[4]], "pair": ["pair"],
            "backup": ["backup", str(disk / "b.zip")], "doctor": ["doctor"]}
for name, words in commands.items():
    told = io.StringIO()
    with contextlib.redirect_stdout(told), contextlib.redirect_stderr(told):
        status = main([*words, "--data", str(data)])
    said[name] = [status, told.getvalue()]
os.unlink(disk / "fill")
if made_before:
    check_record(data)  # it opens again, with room
print(json.dumps([said, before == record(), (disk / "b.zip").exists()]))
"""


def on_a_full_disk(tmp_path: Path, *words: str) -> tuple[dict[str, tuple[int, str]], bool, bool]:
    """What each command says and returns there; whether the record is what it was; whether a backup is there."""
    made_or_skipped("unshare", "--mount", "true")
    script = 'mount -t tmpfs -o size=1m none "$0" && exec "$@"'
    command = [sys.executable, "-c", ON_IT, str(tmp_path), *words, "18765", "18764"]
    done = subprocess.run(
        ["unshare", "--mount", "sh", "-c", script, str(tmp_path), *command], cwd=ROOT, capture_output=True, text=True,
        check=False, timeout=60,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_a_full_disk_is_told_at_every_command_and_the_record_opens_again_with_room(tmp_path: Path) -> None:
    said, is_as_it_was, has_backup = on_a_full_disk(tmp_path, "made")
    for name in ("serve", "pair", "backup"):
        status, told = said[name]
        assert status == 2 and "disk is full" in told and "free some space" in told, (name, told)
    status, told = said["doctor"]
    assert status == 1 and "!!  0 MB free on its disk" in told
    assert "while its disk is full" in told and "restore" not in told, "nothing is damaged: nothing is to be restored"
    assert "no server runs" in told, "it goes on to what can be looked at"
    assert is_as_it_was and not has_backup


def test_a_first_start_on_a_full_disk_is_told(tmp_path: Path) -> None:
    said, _, _ = on_a_full_disk(tmp_path, "new")
    status, told = said["serve"]
    assert status in (1, 2) and "disk is full" in told and "ree some space" in told
