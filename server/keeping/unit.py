"""A systemd unit for the shop's server: shut in as far as it can be and still serve a shop."""

import shlex
import sys

UNIT = """\
# secondprobe unit > /etc/systemd/system/secondprobe.service
# useradd --system --home-dir /var/lib/secondprobe secondprobe
# systemctl daemon-reload && systemctl enable --now secondprobe
# The first phone's code: journalctl -u secondprobe, or as the user secondprobe:
#   {command} pair --owner --data /var/lib/secondprobe
[Unit]
Description=Second Probe, the shop's server
# not network-online: after a power cut the router may come later, and the server looks for addresses by itself
After=network.target

[Service]
User=secondprobe
Group=secondprobe
ExecStart={command} serve --data /var/lib/secondprobe{options}
ExecReload=/bin/kill -HUP $MAINPID
KillSignal=SIGTERM
TimeoutStopSec=20
Restart=on-failure
RestartSec=5
StateDirectory=secondprobe
StateDirectoryMode=0700
UMask=0077
Environment=PYTHONUNBUFFERED=1

# it reads and writes its own folder, speaks to private networks, and nothing else
ProtectSystem=strict
ProtectHome=read-only
PrivateTmp=yes
PrivateDevices=yes
ProtectClock=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
ProtectProc=invisible
NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
LockPersonality=yes
MemoryDenyWriteExecute=yes
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
RemoveIPC=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
IPAddressDeny=any
IPAddressAllow=localhost link-local 10.0.0.0/8 172.16.0.0/12 192.168.0.0/16 fc00::/7

[Install]
WantedBy=multi-user.target
"""


def unit(options: list[str]) -> str:
    """The unit's text; `options` are further ones of `secondprobe serve`."""
    command = shlex.join([sys.executable, "-m", "server.cli"])
    return UNIT.format(command=command, options="".join(f" {shlex.quote(each)}" for each in options))
