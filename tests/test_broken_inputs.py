"""A hundred broken inputs: each is refused with the file named, exit code 2, no trace, and nothing changed on disk."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from controller.cli import app
from controller.record.journal import JOURNAL_NAME
from controller.settings.find import packaged_configs
from tests.record.made_up import MadeUpRun

CAPTURE = Path(__file__).parent / "host" / "captures" / "status-clamp-hole.capture.gz"
Broken = Callable[[bytes], bytes]


def _key(pattern: str, by: str) -> Broken:
    """A key of a settings file given another text."""

    def broken(content: bytes) -> bytes:
        changed, count = re.subn(pattern, by, content.decode("utf-8"), count=1, flags=re.MULTILINE)
        assert count == 1, pattern
        return changed.encode("utf-8")

    return broken


def _cut(share: float) -> Broken:
    return lambda content: content[: int(share * len(content))]


def _rubbish(at: float, by: bytes = b"\xff\x00\xfe\x01") -> Broken:
    def broken(content: bytes) -> bytes:
        place = int(at * len(content))
        return content[:place] + by + content[place + len(by) :]

    return broken


# What is wrong with any file of settings.
ANY: dict[str, Broken] = {
    "empty": lambda _content: b"",
    "no-toml": lambda _content: b"this is no table\n",
    "binary": lambda _content: bytes(range(256)),
    "rubbish-within": _rubbish(0.5),
    "other-encoding": lambda content: content.decode("utf-8").encode("utf-16"),
    "open-string": lambda content: content + b'\nlast = "never closed\n',
    "key-twice": lambda content: content + b"\n[twice]\na = 1\n[twice]\na = 1\n",
    "unknown-section": lambda content: content + b"\n[zzz]\na = 1\n",
    "a-list-for-all": lambda _content: b"a = [1, 2\n",
}
JOB = {
    **ANY,
    "no-thickness": _key(r"^thickness_mm.*$", ""),
    "thickness-a-word": _key(r"^thickness_mm.*$", 'thickness_mm = "thin"'),
    "thickness-negative": _key(r"^thickness_mm.*$", "thickness_mm = -0.5"),
    "thickness-none": _key(r"^thickness_mm.*$", "thickness_mm = nan"),
    "thickness-endless": _key(r"^thickness_mm.*$", "thickness_mm = inf"),
    "misspelt": _key(r"^thickness_mm", "thicknes_mm"),
    "no-hole": _key(r"(?s)\[\[holes\.pattern\]\].*", ""),
    "no-such-pattern": _key(r'^kind = "rectangular"', 'kind = "spiral"'),
    "half-a-column": _key(r"^columns = 3", "columns = 2.5"),
    "unknown-technology": _key(r"^technology = .*$", 'technology = "chewing-gum"'),
    "rod-thicker-than-hole": _key(r"^diameter_mm = 1\.2", "diameter_mm = 1.6"),
    "rod-shorter-than-least": _key(r"^length_mm = 120\.0", "length_mm = 20.0"),
    "no-touch-points": _key(r"^touch_points_mm.*$", "touch_points_mm = []"),
    "touch-points-in-a-row": _key(r"^touch_points_mm.*$", "touch_points_mm = [[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]]"),
    "far-outside": _key(r"^origin_mm.*$", "origin_mm = [5000.0, 6.0]"),
}
MACHINE = {
    **ANY,
    "unknown-convention": _key(r"^\[motion\]$", '[motion]\nconvention = "telepathy"'),
    "no-front-end": _key(r'^front_end = "clamp"', 'front_end = "guesswork"'),
    "steps-none": _key(r"^steps_per_mm.*$", "steps_per_mm = [0.0, 80.0, 400.0]"),
    "two-axes": _key(r"^travel_max_mm.*$", "travel_max_mm = [200.0, 200.0]"),
}
TECHNOLOGY = {
    **ANY,
    "no-uncertainty": _key(r"(?s)(\[overcut_mm\].*?)^u = .*?$", r"\1"),
    "negative": _key(r"(?s)(\[removal_mm3_s\].*?)^guess = .*?$", r"\1guess = -1.0"),
}
PLANT = {**ANY, "unknown-key": lambda content: content + b"\n[source]\nnoise_of_the_neighbours = 3\n"}
TABLE = {
    "empty": lambda _content: b"",
    "no-header": lambda _content: b"1,2\n3,4\n",
    "words": lambda _content: b"x_mm,y_mm\nhere,there\n",
    "binary": lambda _content: bytes(range(256)),
}
DRAWING = {
    "empty": lambda _content: b"",
    "cut": _cut(0.3),
    "text": lambda _content: b"a drawing of a plate\n",
    "binary": lambda _content: bytes(range(256)),
}
GCODE = {
    "empty": lambda _content: b"",
    "no-number": lambda _content: b"G21 G90\nG81 Xten Y10 Z-1 R1 F10\n",
    "binary": lambda _content: bytes(range(256)),
}
JOURNAL = {
    "empty": lambda _content: b"",
    "text": lambda _content: b"Dear diary\n",
    "cut-in-the-head": lambda content: content[:60],
    "cut-in-the-first-page": lambda content: content[:3000],
    "cut-in-the-middle": _cut(0.5),
    "cut-before-the-end": lambda content: content[: len(content) - 4096],
    "other-head": _rubbish(0.0, b"not SQLite at all"),
    "pages-overwritten": lambda content: content[:4096] + b"\xa5" * (len(content) - 4096),
    "zeros": lambda content: bytes(len(content)),
}
CAPTURED = {
    "empty": lambda _content: b"",
    "text": lambda _content: b"no capture\n",
    "binary": lambda _content: bytes(range(256)),
    "cut-in-the-head": lambda content: content[:5],
    "cut-in-the-start-record": lambda content: content[:300],
    "packed-rubbish": _rubbish(0.5, b"\x00" * 64),
    "packed-rubbish-early": _rubbish(0.01, b"\xff" * 16),
    "cut-packed": _cut(0.5),
}


Case = tuple[str, str, tuple[str, ...], Broken, str]


def _of(what: str, file: str, command: tuple[str, ...], wrong: dict[str, Broken]) -> Iterator[Case]:
    """Name, file, command, what is broken, and what the message must name."""
    for name, broken in wrong.items():
        yield f"{what}-{name}", file, command, broken, Path(file).name


def _cases() -> Iterator[Case]:
    on_mine = ("plan", "good.toml", "--machine", "mine.toml", "--no-picture")
    yield from _of("job", "coupon.toml", ("plan", "coupon.toml", "--no-picture"), JOB)
    yield from _of("machine", "mine.toml", on_mine, MACHINE)
    yield from _of("technology", "pair.toml", ("plan", "paired.toml", "--no-picture"), TECHNOLOGY)
    # A plant file that lays nothing over the default one is none that is broken.
    plants = {name: broken for name, broken in PLANT.items() if name != "empty"}
    yield from _of("plant", "truth.toml", ("rehearse", "good.toml", "--plant", "truth.toml", "--out", "new"), plants)
    for kind, wrong in (("csv", TABLE), ("dxf", DRAWING), ("nc", GCODE)):
        made = ("job-from", f"holes.{kind}", "--like", "good.toml", "--to", "new.toml")
        yield from _of(kind, f"holes.{kind}", made, wrong)
    for what in ("report", "resume", "learn"):
        yield from _of(f"{what}-journal", f"run/{JOURNAL_NAME}", (what, "run"), JOURNAL)
    yield from _of("capture", "run.capture", ("replay", "run.capture"), CAPTURED)


CASES = list(_cases())


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """Every file as it should be, by its name in the workshop."""
    configs = packaged_configs()
    coupon = (configs / "jobs" / "coupon.toml").read_bytes()
    run = tmp_path_factory.mktemp("whole") / "run"
    run.mkdir()
    MadeUpRun(12).write(run)
    pair = (configs / "technology" / "tungsten-on-stainless.toml").read_bytes()
    return {
        "coupon.toml": coupon,
        "good.toml": coupon,
        "paired.toml": coupon.replace(b'technology = "tungsten-on-stainless"', b'technology = "pair.toml"'),
        "pair.toml": pair,
        "mine.toml": (configs / "machines" / "status.toml").read_bytes(),
        "truth.toml": (configs / "plants" / "dirty.toml").read_bytes(),
        "holes.csv": b"x_mm,y_mm\n1.0,2.0\n",
        "holes.dxf": (configs / "drawings" / "straightener.dxf").read_bytes(),
        "holes.nc": b"G21 G90\nG81 X10 Y10 Z-1 R1 F10\n",
        f"run/{JOURNAL_NAME}": (run / JOURNAL_NAME).read_bytes(),
        "run.capture": CAPTURE.read_bytes(),
    }


def _everything(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_there_are_a_hundred() -> None:
    """As many as were asked for."""
    assert len(CASES) >= 100
    assert len({name for name, *_ in CASES}) == len(CASES)


@pytest.mark.parametrize(
    ("file", "command", "broken", "named"), [case[1:] for case in CASES], ids=[c[0] for c in CASES]
)
def test_it_is_refused_and_nothing_is_changed(
    file: str,
    command: tuple[str, ...],
    broken: Broken,
    named: str,
    whole: dict[str, bytes],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Exit code 2, a message that names the file, and the folder is as it was."""
    monkeypatch.chdir(tmp_path)
    for name, content in whole.items():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(broken(content) if name == file else content)
    before = _everything(tmp_path)
    result = CliRunner().invoke(app, list(command))
    told = " ".join(result.output.split())
    assert result.exit_code == 2, told
    assert not result.exception or isinstance(result.exception, SystemExit), repr(result.exception)
    assert named in told
    assert "Traceback" not in told
    assert _everything(tmp_path) == before


def test_the_whole_files_are_taken(whole: dict[str, bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is refused above is refused for what is broken in it."""
    monkeypatch.chdir(tmp_path)
    for name, content in whole.items():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content)
    for command in (
        ("plan", "coupon.toml", "--no-picture"),
        ("plan", "good.toml", "--machine", "mine.toml", "--no-picture"),
        ("plan", "paired.toml", "--no-picture"),
        ("report", "run"),
        ("replay", "run.capture"),
        ("job-from", "holes.csv", "--like", "good.toml", "--to", "csv.toml"),
    ):
        result = CliRunner().invoke(app, list(command))
        assert result.exit_code == 0, (command, result.output)
    with sqlite3.connect(tmp_path / "run" / JOURNAL_NAME) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
