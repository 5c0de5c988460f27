"""Namespaces of the kernel's own: for tests that need a second host, or a disk of their own size."""

import subprocess

import pytest

WHAT_TO_DO = (
    "this user may make no namespaces, so this promise is not tried here. Run the tests as root; in a container it"
    " needs the capabilities SYS_ADMIN and NET_ADMIN and a security profile that lets it mount"
)


def made_or_skipped(*command: str) -> None:
    """Runs a command that needs namespaces; where the kernel refuses them, the test is skipped and says what to do."""
    try:
        subprocess.run(command, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError) as error:
        pytest.skip(f"{WHAT_TO_DO} ({(getattr(error, 'stderr', '') or str(error)).strip()})")
