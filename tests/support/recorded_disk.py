"""What a disk is surely left with when the power goes, out of a record of what a process asked of the kernel.

`strace` writes down every call that alters a file below a folder, with its bytes. A model of the disk follows them and
promises no more than POSIX does: bytes are sure after `fsync` of their file, a name is sure after `fsync` of the folder
it stands in, and what came after may be there or not: of bytes any sectors, of the names of one folder the first few.
So one recorded run holds as many power cuts as it has calls. It is no simulation of one file system: most keep more.

What it does not show: what a program writes through `mmap` (SQLite's -shm, which is made anew), a disk that lies about
`fsync`, sectors that are spoilt and not only missing. A call it does not know, below its folder, is an error.
"""

import random
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

SECTOR = 512
CALLS = (
    "open,openat,creat,write,pwrite64,writev,pwritev,pwritev2,lseek,truncate,ftruncate,fallocate,fsync,fdatasync,"
    "sync_file_range,rename,renameat,renameat2,unlink,unlinkat,link,linkat,symlink,symlinkat,mkdir,mkdirat,rmdir,"
    "copy_file_range,sendfile"
)
"""Every call that alters files, and those that tell where in a file the next `write` goes."""

_LINE = re.compile(r"(\d+) +(\d+\.\d+) (.*)", re.DOTALL)
_CALL = re.compile(r"(\w+)\((.*)\) += (\?|-?\d+)", re.DOTALL)
_UNFINISHED, _RESUMED = " <unfinished ...>", re.compile(r"<\.\.\. \w+ resumed>")
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"(\.\.\.)?')
_PLACE = re.compile(r"(-?\d+|AT_FDCWD)<([^>]*)>(\(deleted\))?")


def recording(log: Path, dies_at: str = "") -> list[str]:
    """The words before a command that have it, and all it starts, recorded into `log`.

    `dies_at`: the call at which strace kills it, in its own words (`fdatasync:signal=KILL:when=3`).
    """
    # strace 6.1 forgets to kill where the kernel chooses the calls for it
    how = ["-e", f"inject={dies_at}"] if dies_at else ["--seccomp-bpf"]
    return ["strace", "-f", *how, "-y", "-xx", "-ttt", "-s", "16000000", "-e", f"trace={CALLS}",
            "-e", "signal=none", "-o", str(log)]


class Unknown(Exception):
    """A call that this model cannot follow."""


@dataclass
class Bytes:
    """A file: what of it is sure, and what was asked since, each a place with bytes, or a length."""

    sure: bytearray = field(default_factory=bytearray)
    asked: list[tuple[int, bytes] | int] = field(default_factory=list)

    def settle(self, count: int) -> None:
        """The first `count` of what was asked are on the disk."""
        for one in self.asked[:count]:
            _alter(self.sure, one)
        del self.asked[:count]

    def as_asked(self) -> bytes:
        """What a reader finds while the power is on."""
        return self._with(lambda _: True)

    def left(self, luck: random.Random) -> bytes:
        """What a power cut leaves: of what is not sure any sectors, or none, or all."""
        chance = luck.choice((0.0, 0.0, 0.5, 0.9, 1.0))
        return self._with(lambda _: luck.random() < chance)

    def _with(self, stays: Callable[[int], bool]) -> bytes:
        content = bytearray(self.sure)
        for one in self.asked:
            for part in [one] if isinstance(one, int) else _sectors(*one):
                if stays(0):
                    _alter(content, part)
        return bytes(content)


def _alter(content: bytearray, what: tuple[int, bytes] | int) -> None:
    if isinstance(what, int):
        del content[what:]
        content.extend(bytes(what - len(content)))
        return
    place, raw = what
    content.extend(bytes(max(0, place - len(content))))
    content[place : place + len(raw)] = raw


def _sectors(place: int, raw: bytes) -> Iterator[tuple[int, bytes]]:
    start = 0
    while start < len(raw):
        end = start + SECTOR - (place + start) % SECTOR
        yield place + start, raw[start:end]
        start = end


Names = dict[str, Bytes | None]
"""What stands where; None is a folder."""


class RecordedDisk:
    """The folder `data` on a disk; what is in it when this is made, is sure. The folder it stands in is there."""

    def __init__(self, data: Path) -> None:
        self.data = data.resolve()
        self._now: Names = {}
        self._sure: Names = {}
        self._asked: dict[str, list[tuple[str, Bytes | None, bool]]] = {}
        self._at: dict[tuple[str, str], int] = {}
        self._pending: dict[str, tuple[str, int]] = {}
        self.begin_anew()

    def begin_anew(self) -> None:
        """What is in the folder now is all there is, and sure."""
        paths = [self.data, *self.data.rglob("*")] if self.data.exists() else []
        found = {str(path): None if path.is_dir() else Bytes(bytearray(path.read_bytes())) for path in paths}
        self._now, self._sure, self._asked, self._pending = found, dict(found), {}, {}

    def follow(self, lines: Iterable[str]) -> Iterator[float]:
        """Goes through lines of the record; gives the time (s) of each that altered or settled something.

        Whatever was answered before that time was answered before the call.
        """
        for line in lines:
            if not (match := _LINE.match(line)):
                continue
            process, time_s, told = match.groups()
            told = told.rstrip("\n")
            covered = -1
            if told.endswith(_UNFINISHED):
                told = told.removesuffix(_UNFINISHED)
                self._pending[process] = told, self._asked_of(told)
                continue
            if resumed := _RESUMED.match(told):
                began, covered = self._pending.pop(process, ("", -1))
                told = began + told[resumed.end() :]
            if (call := _CALL.match(told)) and self._carry_out(*call.groups(), covered):
                yield float(time_s)

    def left(self, luck: random.Random) -> dict[str, bytes | None]:
        """What a power cut now leaves, by the path below the folder that `data` stands in; None is a folder."""
        names = dict(self._sure)
        for asked in self._asked.values():
            for path, what, stands in asked[: luck.choice((0, len(asked), luck.randint(0, len(asked))))]:
                _name(names, path, what, stands)
        there = {path: what for path, what in sorted(names.items())
                 if all(str(each) in names for each in Path(path).parents if self._is_here(str(each)))}
        return {self._below(path): what.left(luck) if what else None for path, what in there.items()}

    def as_asked(self) -> dict[str, bytes | None]:
        """What a reader finds while the power is on."""
        return {self._below(path): what.as_asked() if what else None for path, what in self._now.items()}

    def _below(self, path: str) -> str:
        return str(Path(path).relative_to(self.data.parent))

    def _is_here(self, path: str) -> bool:
        return path == str(self.data) or path.startswith(f"{self.data}/")

    def takes_away(self, path: Path) -> None:
        """Somebody who is not recorded took a file away, and that is on the disk."""
        for names in (self._now, self._sure):
            names.pop(str(path.resolve()), None)
        for asked in self._asked.values():
            asked[:] = [one for one in asked if one[0] != str(path.resolve())]

    # --- the calls

    def _carry_out(self, name: str, arguments: str, result: str, covered: int) -> bool:
        """Whether the call altered or settled something. `?`, for one in which the process was killed: it was done."""
        if result.startswith("-"):
            return False
        match name:
            case "open" | "openat" | "creat":
                return self._opened(name, arguments, result)
            case "write" | "pwrite64" | "lseek" | "ftruncate" | "fsync" | "fdatasync":
                place = _PLACE.match(arguments)
                if place is None or place[3]:
                    return False
                path = _plain(place[2])
                if not self._is_here(path) and path != str(self.data.parent):
                    return False
                return self._done_to(name, path, place[1], arguments[place.end() :], result, covered)
        paths = _paths(arguments)
        if not any(map(self._is_here, paths)):
            return False
        match name:
            case "mkdir" | "mkdirat":
                self._put(paths[0], None, True)
            case "unlink" | "unlinkat" | "rmdir":
                self._put(paths[0], self._now.get(paths[0]), False)
            case "rename" | "renameat" | "renameat2":
                what = self._now[paths[0]]
                if what is None:
                    raise Unknown(f"a folder gets another name: {paths}")
                self._put(paths[1], what, True)
                self._put(paths[0], what, False)
            case _:
                raise Unknown(f"{name} {paths}")
        return True

    def _opened(self, name: str, arguments: str, result: str) -> bool:
        path, flags = _paths(arguments)[0], _TEXT.sub("", arguments)
        if not self._is_here(path):
            return False
        if "SYNC" in flags:
            raise Unknown(f"{path} is opened with {flags}")
        self._at[result, path] = 0
        there = self._now.get(path)
        if path not in self._now and (name == "creat" or "O_CREAT" in flags):
            self._put(path, Bytes(), True)
            return True
        if there is not None and (name == "creat" or "O_TRUNC" in flags):
            there.asked.append(0)
            return True
        return False

    def _done_to(self, name: str, path: str, handle: str, rest: str, result: str, covered: int) -> bool:
        what = self._now.get(path)
        if name in ("fsync", "fdatasync"):
            if result == "0":
                self._settle(path, what, covered)
            return True
        if name == "lseek":  # of a folder too, where it is listed
            self._at[handle, path] = int(result) if result != "?" else 0
            return False
        if what is None:
            raise Unknown(f"{name} of {path}")
        if name == "ftruncate":
            what.asked.append(int(rest.strip(", ").split(" ")[0]))
            return True
        text = _TEXT.search(rest)
        assert text is not None and text[2] is None, "strace has cut off what was written"
        raw = bytes.fromhex(text[1].replace("\\x", ""))
        raw = raw if result == "?" else raw[: int(result)]
        at = int(rest[text.end() :].split(",")[2]) if name == "pwrite64" else self._at[handle, path]
        if name == "write":
            self._at[handle, path] = at + len(raw)
        what.asked.append((at, raw))
        return True

    def _asked_of(self, told: str) -> int:
        """How much had been asked of the file or folder when a call that settles it began."""
        place = _PLACE.match(told.partition("(")[2])
        if place is None:
            return -1
        path = _plain(place[2])
        what = self._now.get(path)
        return len(what.asked) if what is not None else len(self._asked.get(path, ()))

    def _settle(self, path: str, what: Bytes | None, covered: int) -> None:
        if what is not None:
            what.settle(len(what.asked) if covered < 0 else covered)
            return
        asked = self._asked.get(path, [])
        count = len(asked) if covered < 0 else covered
        for one in asked[:count]:
            _name(self._sure, *one)
        del asked[:count]

    def _put(self, path: str, what: Bytes | None, stands: bool) -> None:
        if not self._is_here(path):
            return
        _name(self._now, path, what, stands)
        self._asked.setdefault(str(Path(path).parent), []).append((path, what, stands))


def _name(names: Names, path: str, what: Bytes | None, stands: bool) -> None:
    if stands:
        names[path] = what
    elif names.get(path) is what:
        names.pop(path, None)


def _plain(text: str) -> str:
    return bytes.fromhex(text.replace("\\x", "")).decode()


def _paths(arguments: str) -> list[str]:
    """The paths of a call, each from the folder that its file number before it names."""
    found, base = [], ""
    for one in re.finditer(rf"{_PLACE.pattern}|{_TEXT.pattern}", arguments):
        if one[2] is not None:
            base = _plain(one[2])
        else:
            found.append(str(Path(base) / _plain(one[4])))
    return found


def put_back(left: dict[str, bytes | None], folder: Path) -> None:
    """Makes what a power cut left, in an empty folder."""
    for name, raw in left.items():
        path = folder / name
        if raw is None:
            path.mkdir(mode=0o700)
        else:
            path.write_bytes(raw)
            path.chmod(0o600)
