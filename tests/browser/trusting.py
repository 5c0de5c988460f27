"""A browser that trusts one shop's authority: it lies in an NSS store of its own, where Debian's Chromium looks."""

import shutil
import subprocess
from pathlib import Path

import pytest

from server.network.authority import open_authority


def home_that_trusts(data_dir: Path, home: Path) -> dict[str, str | float | bool]:
    """The environment to start the browser with; `data_dir` is the shop's."""
    certutil = shutil.which("certutil")
    if certutil is None:
        pytest.skip("no certutil: apt-get install -y --no-install-recommends libnss3-tools")
    der = home / "authority.crt"
    der.write_bytes(open_authority(data_dir).der)
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    subprocess.run([certutil, "-N", "-d", f"sql:{store}", "--empty-password"], check=True)
    subprocess.run([certutil, "-A", "-d", f"sql:{store}", "-n", "shop", "-t", "C,,", "-i", str(der)], check=True)
    return {"HOME": str(home)}
