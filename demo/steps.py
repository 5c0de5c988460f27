"""Steps that are done once and again only when what they rest on has changed.

Decides: when a step is stale, that its stamp is written last, that two starts never run at once, and
that no step is silent for long. Leaves to others: what the steps are (`environment.py`).
Standard library only: this runs before anything is installed.
"""

import fcntl
import hashlib
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

TICK_S = 3.0
"""Seconds between two signs of life of a running step; the promise is "no silence over 10 s"."""

LOG_LINES_SHOWN = 25


class StepFailed(Exception):
    """A step could not be done. The text says what failed, what it said, and what to do."""


@dataclass(frozen=True)
class Step:
    """One step: `do` makes `outputs` out of `inputs` (files and folders) and `salt` (versions, choices)."""

    name: str
    title: str
    do: Callable[[], None]
    inputs: Sequence[Path] = ()
    outputs: Sequence[Path] = ()
    salt: Sequence[str] = ()
    ignore: Sequence[str] = field(default=("__pycache__", "node_modules"))


def content_hash(paths: Iterable[Path], salt: Iterable[str] = (), ignore: Iterable[str] = ()) -> str:
    """SHA-256 over names and contents of files and of all files in folders; a missing path counts as such."""
    digest = hashlib.sha256()
    left_out = set(ignore)
    for word in salt:
        digest.update(f"salt {word}\n".encode())
    for path in paths:
        for file in _files_of(path, left_out):
            digest.update(f"file {file.relative_to(path.parent)} {file.stat().st_size}\n".encode())
            digest.update(file.read_bytes())
        if not path.exists():
            digest.update(f"missing {path.name}\n".encode())
    return digest.hexdigest()


def _files_of(path: Path, left_out: set[str]) -> list[Path]:
    if path.is_file():
        return [path]
    inside = (file for file in path.rglob("*") if file.is_file())
    return sorted(file for file in inside if not left_out.intersection(file.relative_to(path).parts))


def why_stale(step: Step, stamp_dir: Path) -> str | None:
    """Why the step has to run, in a few words, or None if it need not."""
    stamp = stamp_dir / step.name
    if not stamp.exists():
        return "not done yet"
    for output in step.outputs:
        if not output.exists():
            return f"{output.name} is missing"
    if stamp.read_text() != content_hash(step.inputs, step.salt, step.ignore):
        return "what it rests on has changed"
    return None


def run_step(step: Step, stamp_dir: Path, say: Callable[[str], None]) -> bool:
    """Runs the step if it is stale; the stamp is written last. Returns whether it ran.

    The hash is taken before the work: an input that changes meanwhile makes the step stale again.
    """
    reason = why_stale(step, stamp_dir)
    if reason is None:
        return False
    stamp = stamp_dir / step.name
    stamp.unlink(missing_ok=True)
    fingerprint = content_hash(step.inputs, step.salt, step.ignore)
    started = time.monotonic()
    with ticking(step.title, say):
        step.do()
    for output in step.outputs:
        if not output.exists():
            raise StepFailed(f"{step.title}: it ended without an error, but {output} is not there")
    stamp_dir.mkdir(parents=True, exist_ok=True)
    fresh = stamp.with_suffix(".new")
    fresh.write_text(fingerprint)
    fresh.replace(stamp)
    say(f"  {step.title}: {time.monotonic() - started:.1f} s ({reason})")
    return True


@contextmanager
def ticking(title: str, say: Callable[[str], None], every_s: float = TICK_S) -> Iterator[None]:
    """Prints a line every few seconds while the block runs."""
    over = threading.Event()
    started = time.monotonic()

    def tick() -> None:
        while not over.wait(every_s):
            say(f"  {title} ... {time.monotonic() - started:.0f} s")

    thread = threading.Thread(target=tick, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


@contextmanager
def one_at_a_time(lock_file: Path, say: Callable[[str], None]) -> Iterator[None]:
    """Holds the lock while the block runs; a second start waits and says so."""
    lock_file.parent.mkdir(parents=True, exist_ok=True)
    with lock_file.open("w") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("  another start is preparing the environment; waiting for it")
            with ticking("waiting", say):
                fcntl.flock(handle, fcntl.LOCK_EX)
        yield


def run_logged(
    command: Sequence[str | Path], log: Path, *, cwd: Path | None = None, env: Mapping[str, str] | None = None,
    hint: str = "",
) -> None:
    """Runs a command with its output in `log`; on failure the last lines and the hint are the error.

    Raises:
        StepFailed: the command is not there or ended with another code than 0.
    """
    words = [str(word) for word in command]
    log.parent.mkdir(parents=True, exist_ok=True)
    with log.open("w", encoding="utf-8", errors="replace") as output:
        output.write("$ " + " ".join(words) + "\n")
        output.flush()
        try:
            code = subprocess.run(
                words, stdin=subprocess.DEVNULL, stdout=output, stderr=subprocess.STDOUT, cwd=cwd, env=env, check=False,
            ).returncode
        except OSError as problem:
            raise StepFailed(f"cannot start {words[0]}: {problem}. {hint}") from problem
    if code != 0:
        last = log.read_text(encoding="utf-8", errors="replace").splitlines()[-LOG_LINES_SHOWN:]
        raise StepFailed("\n".join([f"this command ended with {code} (whole output: {log}):", *last, hint]).rstrip())


def say_line(text: str) -> None:
    """Prints a line at once, also into a pipe."""
    print(text, file=sys.stdout, flush=True)
