"""The unit as systemd itself runs it: Debian's systemd as the first process of namespaces of its own.

Its root is a layer over this machine's, thrown away afterwards; its network has one address and leads nowhere. So the
sandbox of the unit is the kernel's, and what the server needs inside it (its folder, its sockets, its libraries under
the filter of system calls) is tried, not read.
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from server.keeping.unit import unit
from tests.network.namespaces import made_or_skipped
from tests.support.pictures import noise
from tests.sync.process import ROOT

ALONE = ("unshare", "--mount", "--pid", "--fork", "--uts", "--ipc", "--net", "--cgroup")

BOOT = r"""
set -eu
umask 022  # a layer that only root may enter would shut the unit's user out
own=$1 house=$2 python=$3
mount -t tmpfs -o size=300m none "$own"
mkdir "$own/up" "$own/work" "$own/root"
mount -t overlay -o "lowerdir=/,upperdir=$own/up,workdir=$own/work" overlay "$own/root"
root=$own/root
mount -t proc proc "$root/proc"
mount -t sysfs sysfs "$root/sys"
mount -t cgroup2 none "$root/sys/fs/cgroup"
mount --bind /dev "$root/dev"
mount -t tmpfs none "$root/run"
mount -t tmpfs none "$root/tmp"
mkdir -p "$root/opt/house" "$root/out"
mount --bind "$house" "$root/opt/house"
mount --bind "$4" "$root/out"
chmod go+x "$root/root"  # the tests' Python may lie there
useradd --root "$root" --system --home-dir /var/lib/secondprobe secondprobe
units=$root/etc/systemd/system
rm -rf "$units"
mkdir -p "$units/secondprobe.service.d"
chroot "$root" sh -c "cd /opt/house && $python -m server.cli unit -- --port 8765" > "$units/secondprobe.service"
printf '[Service]\nWorkingDirectory=/opt/house\n' > "$units/secondprobe.service.d/checkout.conf"
printf '[Unit]\nRequires=secondprobe.service walk.service\n' > "$units/alone.target"
printf '[Unit]\nAfter=secondprobe.service\n[Service]\nType=oneshot\nTimeoutStartSec=120\nExecStart=%s /out/walk.py\n' \
  "$python" > "$units/walk.service"
ip link set lo up
ip link add enp1 type veth peer name enp2
ip link set enp2 up
ip addr add 192.168.88.20/24 dev enp1
ip addr add 203.0.113.1/24 dev enp1
ip link set enp1 up
exec chroot "$root" env -i container=own PATH=/usr/sbin:/usr/bin:/sbin:/bin \
  /lib/systemd/systemd --system --unit=alone.target --show-status=no
"""

WALK = r"""
import hashlib, http.client, json, re, ssl, subprocess, time
from pathlib import Path

DATA = Path("/var/lib/secondprobe")
told = {}

def run(*words):
    return subprocess.run(words, capture_output=True, text=True, check=False).stdout.strip()

def ask(method, path, body=None, token=None, host="192.168.88.20", within_s=10):
    context = ssl._create_unverified_context()
    connection = http.client.HTTPSConnection(host, 8765, timeout=within_s, context=context)
    headers = {"Host": "192.168.88.20"} | ({"Authorization": f"Bearer {token}"} if token else {})
    raw = body if isinstance(body, bytes) or body is None else json.dumps(body)
    if raw is not None:
        headers["Content-Type"] = "image/jpeg" if isinstance(raw, bytes) else "application/json"
    connection.request(method, path, raw, headers)
    answer = connection.getresponse()
    return answer.status, json.loads(answer.read() or b"null")

def up(at_most_s=60):
    end = time.monotonic() + at_most_s
    while True:
        try:
            return ask("GET", "/api/health")[0]
        except OSError:
            if time.monotonic() > end:
                raise
            time.sleep(0.1)

def pid():
    return run("systemctl", "show", "-P", "MainPID", "secondprobe")

try:
    told["health"] = up()
    status = Path(f"/proc/{pid()}/status").read_text()
    told["shut in"] = {
        name: re.search(rf"^{name}:\s*(\S+)", status, re.M)[1] for name in ("NoNewPrivs", "Seccomp", "CapBnd")
    }
    told["user"] = Path(f"/proc/{pid()}").owner()
    inside = ["nsenter", "--target", pid(), "--mount", "--root"]
    told["writable"] = [place for place in ("/etc", "/usr", "/opt/house", "/home", "/var/lib", str(DATA))
                        if subprocess.run([*inside, "mkdir", f"{place}/mark"], capture_output=True).returncode == 0]
    (DATA / "mark").rmdir()
    # the first code is told in the journal; a code of the user's own command is as good
    made = run("runuser", "-u", "secondprobe", "--", "sh", "-c",
               "cd /opt/house && PYTHON -m server.cli pair --owner --data /var/lib/secondprobe")
    code = re.search(r"code ([2-9A-Z-]+),", made)[1]
    token = ask("POST", "/api/pair", {"code": code})[1]["token"]
    picture = Path("/out/picture.jpg").read_bytes()
    told["picture"] = ask("PUT", f"/api/photos/{hashlib.sha256(picture).hexdigest()}", picture, token)[0]
    sheet = json.loads(Path("/out/sheet.json").read_text())
    told["opinion"] = ask("POST", "/api/opinion", sheet, token)[0]
    board = Path("/out/board.net").read_bytes()
    told["board file"] = ask("POST", "/api/board-files", board, token)[0]
    try:
        told["outside"] = ask("GET", "/api/health", host="203.0.113.1", within_s=2)[0]
    except OSError as error:
        told["outside"] = type(error).__name__
    first = pid()
    subprocess.run(["systemctl", "reload", "secondprobe"], check=True)
    told["after reload"] = [up(), pid() == first]
    subprocess.run(["kill", "-KILL", first], check=True)  # as the power
    time.sleep(1)
    told["after a kill"] = [up(), ask("GET", "/api/me", token=token)[0], pid() != first]
    subprocess.run(["systemctl", "stop", "secondprobe"], check=True)
    told["stopped"] = run("systemctl", "show", "-P", "Result", "secondprobe")
    told["modes"] = sorted({oct(path.stat().st_mode & 0o777) for path in [DATA, *DATA.rglob("*")]})
    told["journal"] = run("journalctl", "-u", "secondprobe", "--no-pager", "-o", "cat")
except Exception as error:
    told["error"] = repr(error)
    told["journal"] = run("journalctl", "--no-pager", "-o", "cat")[-6000:]
Path("/out/told.json").write_text(json.dumps(told))
run("systemctl", "exit", "0")
"""


def boot(tmp_path: Path) -> dict[str, Any]:
    """Starts systemd with the unit and nothing else; what the walk beside it found."""
    own, out = tmp_path / "own", tmp_path / "out"
    own.mkdir()
    out.mkdir()
    python = str(Path("/opt/house") / Path(sys.executable).relative_to(ROOT))
    (out / "picture.jpg").write_bytes(noise(120, 80))
    (out / "sheet.json").write_bytes((ROOT / "demo" / "sheets" / "t10_bridge_across_rows.json").read_bytes())
    (out / "board.net").write_text("P  CODE 00\nP  UNITS CUST 0\n999\n")
    (out / "walk.py").write_text(WALK.replace("PYTHON", python))
    (out / "boot.sh").write_text(BOOT)
    done = subprocess.run(
        [*ALONE, "--mount-proc", "sh", str(out / "boot.sh"), str(own), str(ROOT), python, str(out)],
        capture_output=True, text=True, check=False, timeout=240,
    )
    told = out / "told.json"
    assert told.exists(), f"systemd did not come so far:\n{done.stdout[-3000:]}{done.stderr[-3000:]}"
    return json.loads(told.read_text())


def test_systemd_runs_the_unit_shut_in_and_the_server_does_its_work_inside(tmp_path: Path) -> None:
    made_or_skipped(*ALONE, "true")
    told = boot(tmp_path)
    assert "error" not in told, told
    assert told["user"] == "secondprobe"
    assert told["shut in"] == {"NoNewPrivs": "1", "Seccomp": "2", "CapBnd": "0000000000000000"}
    assert told["writable"] == ["/var/lib/secondprobe"], "of the whole machine it may write its own folder only"
    assert [told[each] for each in ("health", "picture", "opinion", "board file")] == [200, 201, 200, 202]
    # where the kernel lets systemd filter addresses no packet comes through, elsewhere the server itself refuses
    assert told["outside"] in ("TimeoutError", 403)
    assert told["after reload"] == [200, True], "the same process goes on"
    assert told["after a kill"] == [200, 200, True], "it comes back by itself and knows its phone"
    assert told["stopped"] == "success" and told["modes"] == ["0o600", "0o700"]
    assert "Later: secondprobe pair --owner" in told["journal"] and "Traceback" not in told["journal"]


def test_systemds_own_judge_finds_no_fault_in_the_unit_and_little_that_is_open(tmp_path: Path) -> None:
    path = tmp_path / "secondprobe.service"
    path.write_text(unit(["--name", "probe.lan"]))
    verified = subprocess.run(["systemd-analyze", "verify", str(path)], capture_output=True, text=True, check=False)
    assert (verified.returncode, verified.stdout + verified.stderr) == (0, "")
    most = 20  # tenths: 2.0 of 10, where systemd says "OK"; 9.6 is a unit that says nothing
    judged = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", f"--threshold={most}", str(path)],
        capture_output=True, text=True, check=False,
    )
    assert judged.returncode == 0, judged.stdout[-400:]
