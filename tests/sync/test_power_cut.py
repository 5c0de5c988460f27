"""The power goes at any moment: what was answered before is there afterwards, and the record is sound."""

import asyncio
import random
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from server.keeping.backup import make_backup
from server.photos import files
from server.photos.files import PhotoFolder
from tests.support.phone_twin import Change
from tests.support.pictures import noise, sha256
from tests.support.power_cuts import Cut, Promise, RecordedShop, broken_promises
from tests.support.recorded_disk import RecordedDisk, recording
from tests.support.takes_batches import ROOT, Taker
from tests.sync.making import added, change, reading
from tests.sync.rig import open_record, push

FOLDER, FILE = "/disk/data", "/disk/data/kept"


@pytest.fixture(scope="module")
def recorder(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A kernel that lets a process record another."""
    try:
        subprocess.run([*recording(tmp_path_factory.mktemp("recorder") / "calls"), "true"], check=True)
    except (OSError, subprocess.CalledProcessError) as error:
        pytest.skip("what a disk is asked cannot be recorded, so this promise is not tried here: apt-get install -y"
                    f" --no-install-recommends strace, on a system that lets a process trace what it starts ({error})")


def test_what_was_answered_outlives_a_power_cut_at_any_moment(recorder: None, tmp_path: Path) -> None:
    shop = RecordedShop(tmp_path)
    shop.live_a_little(batches=10, pictures=2)
    shop.end()
    cuts = [(cut, broken_promises(cut)) for cut in shop.cuts(share=0.06, seed=7)]
    assert [broken for _, broken in cuts if broken] == []
    _same_as_on_disk(shop.disk)
    assert len(cuts) > 25 and {one.kind for one in cuts[-1][0].promised} == {"change", "picture", "token"}
    # on half the moments something had been asked for that was not sure, and was lost or torn
    assert len({str(sorted(cut.left.items())) for cut, _ in cuts}) > 20


def test_a_commit_of_a_killed_server_is_settled_before_it_is_answered_for(recorder: None, tmp_path: Path) -> None:
    """Killed between writing a commit and settling it; the next server finds it, and says that it had it."""
    data, made = tmp_path / "data", [change(number, added(reading(f"r-{number}"))) for number in (1, 2)]
    disk = RecordedDisk(data)
    with Taker(data, tmp_path / "first") as taker:
        assert taker.take(made[:1]) == [["phone-a-1", "stored", 1]]
    # a log of its own, the name of that, and the commit: the third is what it does not come to
    with Taker(data, tmp_path / "killed", dies_at="fdatasync:signal=KILL:when=3") as taker, pytest.raises(EOFError):
        taker.take(made[1:])
    with Taker(data, tmp_path / "next") as taker:
        assert taker.take(made[1:]) == [["phone-a-2", "had", 2]]
        taker.kill()
    promised = [Promise(0.0, "change", made[0], 1), Promise(0.0, "change", made[1], 2)]
    for name in ("first", "killed", "next"):
        list(disk.follow((tmp_path / name).read_text().splitlines()))
    for seed in range(8):
        assert broken_promises(Cut(time.time(), disk.left(random.Random(seed)), promised)) == []


def test_what_was_restored_outlives_a_power_cut(recorder: None, tmp_path: Path) -> None:
    made, raw = change(1, added(reading())), noise(40, 30)
    asyncio.run(_kept(tmp_path / "shop", made, raw))
    make_backup(tmp_path / "shop", tmp_path / "shop.zip")
    data, calls = tmp_path / "new" / "data", tmp_path / "calls"
    data.parent.mkdir()
    disk = RecordedDisk(data)
    command = [sys.executable, "-m", "server.cli", "restore", str(tmp_path / "shop.zip"), "--data", str(data)]
    subprocess.run([*recording(calls), *command], check=True, cwd=ROOT, stdout=subprocess.DEVNULL)
    list(disk.follow(calls.read_text().splitlines()))
    promised = [Promise(0.0, "change", made, 1), Promise(0.0, "picture", sha256(raw))]
    for seed in range(8):
        assert broken_promises(Cut(time.time(), disk.left(random.Random(seed)), promised)) == []


async def _kept(data: Path, made: Change, raw: bytes) -> None:
    async with open_record(data) as record:
        await push(record, [made])
    await PhotoFolder(data).take(sha256(raw), _in_one(raw))


async def _in_one(raw: bytes) -> AsyncIterator[bytes]:
    yield raw


async def test_a_picture_is_here_only_once_its_name_is_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    raw, seen = noise(40, 30), []
    folder = PhotoFolder(tmp_path)
    settle = files.settle_names
    monkeypatch.setattr(files, "settle_names", lambda path: (seen.append(folder.find(sha256(raw))), settle(path)))
    await folder.take(sha256(raw), _in_one(raw))
    assert seen == [None]
    assert folder.find(sha256(raw)) is not None


def test_what_a_killed_server_left_of_pictures_is_settled_at_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settled: list[Path] = []
    monkeypatch.setattr(files, "settle_names", settled.append)
    PhotoFolder(tmp_path)
    assert settled == [tmp_path / "photos"]


# --- the judge itself, on calls written by hand


@pytest.mark.parametrize(("calls", "always", "sometimes"), [
    ([], set(), set()),
    (["create", "write"], set(), {None, b""}),
    (["create", "write", "settle folder"], set(), {b"", b"\0" * 512 + b"b" * 512}),
    (["create", "write", "settle file"], set(), {None, b"a" * 512 + b"b" * 512}),
    (["create", "write", "settle file", "settle folder"], {b"a" * 512 + b"b" * 512}, set()),
    (["create", "settle folder", "settle began", "write", "settle ended"], set(), {b"", b"a" * 512}),
    (["create", "write", "settle file", "settle folder", "remove"], set(), {None, b"a" * 512 + b"b" * 512}),
    (["create", "write", "settle file", "settle folder", "remove", "settle folder"], {None}, set()),
])
def test_the_judge_takes_what_posix_lets_a_power_cut_take(
    calls: list[str], always: set[bytes | None], sometimes: set[bytes | None]
) -> None:
    disk = RecordedDisk(Path(FOLDER))
    list(disk.follow(["1 1.0 mkdir(" + _text(FOLDER) + ", 0700) = 0", f"1 1.0 fsync(3<{_hex('/disk')}>) = 0"]))
    list(disk.follow(_CALLS[each] for each in calls))
    found = {disk.left(random.Random(seed)).get("data/kept") for seed in range(300)}
    if always:
        assert found == always
    assert sometimes <= found


def _hex(text: str) -> str:
    return "".join(f"\\x{each:02x}" for each in text.encode())


def _text(text: str) -> str:
    return f'"{_hex(text)}"'


_CALLS = {
    "create": f"1 1.0 openat(AT_FDCWD<{_hex('/')}>, {_text(FILE)}, O_RDWR|O_CREAT, 0600) = 4<{_hex(FILE)}>",
    "write": f"1 1.0 pwrite64(4<{_hex(FILE)}>, {_text('a' * 512 + 'b' * 512)}, 1024, 0) = 1024",
    "settle file": f"1 1.0 fsync(4<{_hex(FILE)}>) = 0",
    "settle folder": f"1 1.0 fsync(3<{_hex(FOLDER)}>) = 0",
    "settle began": f"2 1.0 fsync(4<{_hex(FILE)}> <unfinished ...>",
    "settle ended": "2 1.0 <... fsync resumed>) = 0",
    "remove": f"1 1.0 unlink({_text(FILE)}) = 0",
}


def _same_as_on_disk(disk: RecordedDisk) -> None:
    """What the model made of the calls is what lies there now; -shm is written past them, through memory."""
    real = {str(path.relative_to(disk.data.parent)): None if path.is_dir() else path.read_bytes()
            for path in (disk.data, *disk.data.rglob("*"))}
    followed = disk.as_asked()
    assert real.keys() == followed.keys()
    assert [name for name, raw in real.items() if followed[name] != raw and not name.endswith("-shm")] == []
