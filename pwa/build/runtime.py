"""The Python that the phone runs: Pyodide's files, its standard library and the msgspec wheel as .pyc.

`runtime.py NODE OUT_DIR`. Decides: which parts of the standard library stay at home, and that the
wheel is exactly the pinned one and fits the pyodide that npm installed. Standard library only; pip
downloads the wheel, with the user's own settings.
"""

import hashlib
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

BUILD = Path(__file__).resolve().parent
PYODIDE = BUILD.parent / "node_modules" / "pyodide"
COPIED = ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm")

LEFT_AT_HOME = (
    # programs and servers that no engine calls
    "_pyrepl", "antigravity", "bdb", "cgi", "cmd", "code", "doctest", "ensurepip", "ftplib", "idlelib", "imaplib",
    "mailbox", "modulefinder", "multiprocessing", "pdb", "poplib", "profile", "pstats", "pydoc", "pydoc_data",
    "pyclbr", "smtplib", "socketserver", "tabnanny", "this", "trace", "tracemalloc", "turtle", "turtledemo",
    "unittest", "venv", "wave", "webbrowser", "wsgiref", "xmlrpc", "zipapp",
    # formats the engine does not speak
    "plistlib", "netrc", "optparse", "pickletools", "sqlite3", "dbm", "curses", "lib2to3", "tkinter",
)
"""Top-level modules left out of the phone's standard library. `codeop` stays: `traceback` wants it."""


def check_pins(pins: dict[str, str], lock_info: dict[str, str]) -> None:
    """The wheel must be made for the very interface that this pyodide offers.

    Raises:
        ValueError: package-lock.json moved pyodide on, and the pinned wheel did not follow.
    """
    given, pinned = lock_info["abi_version"], pins["pyodide_abi_version"]
    if given != pinned or given not in pins["platform"] or pins["platform"] not in pins["msgspec_wheel"]:
        raise ValueError(
            f"pyodide speaks abi {given}, the pinned msgspec wheel is {pins['msgspec_wheel']} for abi {pinned}."
            " Give runtime_pins.json a wheel whose name ends in"
            f" pyemscripten_{given}_wasm32.whl, with its sha256."
        )
    if not lock_info["python"].startswith(pins["python_version"] + "."):
        raise ValueError(f"pyodide brings Python {lock_info['python']}, the pins say {pins['python_version']}")


def fetch_wheel(pins: dict[str, str], to: Path) -> None:
    """Downloads the msgspec wheel with pip and checks its sha256.

    Raises:
        RuntimeError: pip could not, or brought another file.
    """
    folder = to.parent / "wheel"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    wanted = folder / "wanted.txt"
    wanted.write_text(f"msgspec=={pins['msgspec_version']} --hash=sha256:{pins['msgspec_sha256']}\n")
    done = subprocess.run(
        [
            sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary=:all:", "--require-hashes",
            "--platform", pins["platform"], "--implementation", "cp", "--python-version", pins["python_version"],
            "--abi", pins["abi"], "--dest", str(folder), "-r", str(wanted),
        ],
        capture_output=True, text=True, check=False,
    )
    wheel = folder / pins["msgspec_wheel"]
    if done.returncode != 0 or not wheel.exists():
        raise RuntimeError(f"pip could not download {pins['msgspec_wheel']}:\n{done.stdout}{done.stderr}")
    digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
    if digest != pins["msgspec_sha256"]:
        raise RuntimeError(f"{wheel.name} has sha256 {digest}, expected {pins['msgspec_sha256']}")
    shutil.copyfile(wheel, to)


def compile_zip(node: str, leave_out: Sequence[str], given: Path, made: Path) -> None:
    """The zip with each .py as .pyc, without the top-level modules of `leave_out`."""
    words = [str(BUILD / "pyc.mjs"), str(PYODIDE), json.dumps(leave_out), str(given), str(made)]
    subprocess.run([node, *words], check=True)


def build_runtime(node: str, out_dir: Path) -> None:
    """Puts everything but the engine itself into `out_dir`."""
    pins = json.loads((BUILD / "runtime_pins.json").read_text())
    lock_info = json.loads((PYODIDE / "pyodide-lock.json").read_text())["info"]
    check_pins(pins, lock_info)
    shutil.rmtree(out_dir, ignore_errors=True)
    out_dir.mkdir(parents=True)
    for name in COPIED:
        shutil.copyfile(PYODIDE / name, out_dir / name)
    with tempfile.TemporaryDirectory() as scratch:
        wheel = Path(scratch) / "msgspec.whl"
        fetch_wheel(pins, wheel)
        # a wheel brings sources: compiled here, or at every start on the phone, which takes it 0.1 s
        compile_zip(node, (), wheel, out_dir / "msgspec.whl")
    compile_zip(node, LEFT_AT_HOME, PYODIDE / "python_stdlib.zip", out_dir / "python_stdlib.zip")
    (out_dir / "info.json").write_text(
        json.dumps({"lock_info": lock_info, "msgspec_version": pins["msgspec_version"]}, indent=1) + "\n"
    )


if __name__ == "__main__":
    build_runtime(sys.argv[1], Path(sys.argv[2]))
