"""The compiled build: the same bytes as plain Python, and plain Python where there is no compiler."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import hatch_build

ROOT = Path(__file__).resolve().parents[1]
SOURCES = [path for folder in ("controller", "sim") for path in (ROOT / folder).rglob("*.py")]
COMPILED = ROOT / ".venv-compiled" / "bin" / "python"


def rehearsed(python: str, folder: Path, cwd: Path) -> dict[str, bytes]:
    """What a rehearsal of the coupon says of its holes, run by an interpreter outside the source tree."""
    command = [python, "-m", "controller.cli", "rehearse", "coupon.toml", "--seed", "5", "--out", str(folder)]
    subprocess.run(command, cwd=cwd, check=True, capture_output=True, timeout=300)
    return {name: (folder / name).read_bytes() for name in ("holes.csv", "truth.csv")}


def test_the_compiled_build_gives_the_same_bytes(tmp_path: Path) -> None:
    if not COMPILED.exists():
        assert "CI" not in os.environ, "CI makes the compiled build first (.ci/run)"
        pytest.skip("no compiled build here: `make compiled` makes it")
    newest_s = max(path.stat().st_mtime for path in SOURCES)
    if (ROOT / ".venv-compiled" / ".done").stat().st_mtime < newest_s:
        assert "CI" not in os.environ, "CI makes the compiled build anew (.ci/run)"
        pytest.skip("the compiled build is older than the source: `make compiled` makes it anew")
    asked = [str(COMPILED), "-c", "import sim.erosion as it; print(it.__file__)"]
    where = subprocess.run(asked, cwd=tmp_path, check=True, capture_output=True, text=True).stdout.strip()
    assert not where.endswith(".py"), f"nothing is compiled there: {where}"
    plain = rehearsed(sys.executable, tmp_path / "plain", tmp_path)
    assert rehearsed(str(COMPILED), tmp_path / "compiled", tmp_path) == plain


def test_everything_that_runs_in_every_tick_is_compiled() -> None:
    """What is left out is named, and is there."""
    names = set(hatch_build.sources(ROOT))
    assert {"controller/core/controller.py", "controller/core/cycles/drill.py", "sim/erosion.py"} <= names
    assert not hatch_build.LEFT_OUT & names
    assert all((ROOT / name).exists() for name in hatch_build.LEFT_OUT)


def test_without_a_compiler_the_build_says_so_and_stays_plain(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    warned: list[str] = []

    def no_compiler(root: Path, into: Path) -> list[Path]:
        raise subprocess.CalledProcessError(1, "cc", stderr="error: command 'cc' failed: No such file or directory\n")

    class Screen:
        def display_warning(self, text: str) -> None:
            warned.append(text)

    monkeypatch.setattr(hatch_build, "build", no_compiler)
    monkeypatch.setenv(hatch_build.WANTED, "1")
    hook = hatch_build.CompiledBuild(str(ROOT), {}, None, None, str(tmp_path), "wheel", app=Screen())  # type: ignore[arg-type]  # a screen is all it needs
    wheel: dict[str, object] = {"pure_python": True, "force_include": {}}
    hook.initialize("standard", wheel)
    assert wheel == {"pure_python": True, "force_include": {}}
    assert warned == [
        "No compiled build (error: command 'cc' failed: No such file or directory): plain Python instead."
    ]
