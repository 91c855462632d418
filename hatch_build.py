"""Optional compiled build: the same source through mypyc, and plain Python where there is no compiler.

`GAPWRIGHT_COMPILED=1 pip install .` (or `make compiled`) asks for it. Nothing is rewritten for it: the modules are
compiled as they stand, and a test holds that a rehearsal gives the same bytes either way.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

WANTED = "GAPWRIGHT_COMPILED"

# What is called in every tick. Left out: what leans on libraries that rewrite classes at run time (pydantic's models,
# the phase machine of `transitions`), an exception of a built-in kind that mypyc can't derive from, and what runs once.
FOLDERS = ("controller/core", "controller/core/cycles", "sim")
# The machine behind its wires runs in real time, where the boards' bytes are what takes long.
WIRED = {"sim/faults.py", "sim/injector.py", "sim/person.py", "sim/ports.py", "sim/terminals.py", "sim/wired.py"}
LEFT_OUT = {"controller/core/phases.py", "sim/settings.py", "sim/notebook.py", "sim/hands.py", "sim/aside.py", *WIRED}

# No fused multiply-add and no reordering: every platform must give the bytes that the interpreter gives.
C_FLAGS = ["-O3", "-ffp-contract=off", "-fno-fast-math"]

SCRIPT = """
import os, sys
from mypyc.build import mypycify
from setuptools import setup
os.environ["CFLAGS"] = sys.argv[2]
setup(name="compiled", packages=[], script_args=["-q", "build_ext", "--build-lib", sys.argv[1]],
      ext_modules=mypycify(["--config-file=mypy.ini", *sys.argv[3:]], opt_level="3"))
"""
MYPY_INI = "[mypy]\nplugins = pydantic.mypy\nignore_missing_imports = True\nfollow_imports = silent\n"


def sources(root: Path) -> list[str]:
    """The modules that are compiled, relative to the root."""
    found = [path.relative_to(root).as_posix() for folder in FOLDERS for path in sorted((root / folder).glob("*.py"))]
    return [name for name in found if name not in LEFT_OUT and not name.endswith("__init__.py")]


def build(root: Path, into: Path) -> list[Path]:
    """Compile into a folder; return the extension modules. CalledProcessError without a working compiler."""
    with TemporaryDirectory() as scratch:
        bench = Path(scratch)
        for package in ("controller", "sim"):
            shutil.copytree(root / package, bench / package, ignore=shutil.ignore_patterns("__pycache__", "*.so"))
        (bench / "mypy.ini").write_text(MYPY_INI, encoding="utf-8")
        command = [sys.executable, "-c", SCRIPT, str(into), " ".join(C_FLAGS), *sources(root)]
        subprocess.run(command, cwd=bench, check=True, capture_output=True, text=True)  # noqa: S603 - our own command
    return sorted(path for path in into.rglob("*") if path.suffix in {".so", ".pyd"})


class CompiledBuild(BuildHookInterface[Any]):
    """Adds the extension modules to a wheel when they were asked for and can be made."""

    PLUGIN_NAME = "custom"

    def dependencies(self) -> list[str]:
        """What compiling needs; nothing for the plain build."""
        return ["mypy[mypyc]>=1.10", "setuptools>=70", "pydantic>=2.7", "numpy>=1.26"] if self._wanted() else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile before the wheel is put together."""
        if not self._wanted() or version == "editable":
            return
        root = Path(self.root)
        into = Path(self.directory) / "compiled"
        shutil.rmtree(into, ignore_errors=True)
        try:
            modules = build(root, into)
        except (subprocess.CalledProcessError, OSError) as failure:
            why = getattr(failure, "stderr", None) or str(failure)
            self.app.display_warning(f"No compiled build ({why.strip().splitlines()[-1]}): plain Python instead.")
            return
        build_data["pure_python"] = False
        build_data["infer_tag"] = True
        for module in modules:
            build_data["force_include"][str(module)] = module.relative_to(into).as_posix()

    @staticmethod
    def _wanted() -> bool:
        return os.environ.get(WANTED) == "1"
