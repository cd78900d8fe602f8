"""Hatchling's hook: compiles the core into the wheel, and beside its sources when editable."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

# build.py needs nothing of the package, which cannot be imported before it is installed.
sys.path.insert(0, str(Path(__file__).parent / "warmbranch" / "core"))
import build

sys.path.pop(0)


class CoreBuildHook(BuildHookInterface[Any]):
    """Compile before files are gathered."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Add the libraries to the wheel; without a compiler there is a wheel on numpy alone."""
        if self.target_name != "wheel":
            return
        try:
            made = build.build()
        except (OSError, RuntimeError) as error:
            self.app.display_warning(f"Built without the compiled core, on numpy alone: {error}")
            return
        build_data["pure_python"] = False
        build_data["tag"] = f"py3-none-{build.wheel_platform()}"
        for library in made:
            place = library.relative_to(Path(self.root) / "models")
            build_data["force_include"][str(library)] = str(place)
