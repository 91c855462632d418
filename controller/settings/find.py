"""Where a named settings file is: as a path, beside the file that names it, in ./configs, or shipped with gapwright."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

from controller.settings.problem import Problem, SettingsError

KINDS = ("machines", "jobs", "technology", "plants")


def packaged_configs() -> Path:
    """The folder of the shipped settings: inside the package when installed, beside it in a checkout."""
    package = Path(str(resources.files("controller")))
    shipped = package / "configs"
    return shipped if shipped.is_dir() else package.parent / "configs"


def resolve(name: str | Path, referring: Path | None = None, kind: str | None = None) -> Path:
    """Find the settings file called `name`; `.toml` may be left out.

    Args:
        name: A path or a bare name.
        referring: The settings file that names it, if any: its folder is looked into.
        kind: One of KINDS to look into that folder of the configs alone; None for all of them.

    Raises:
        SettingsError: There is no such file; the problem names the places and the closest known name.
    """
    places = list(_places(Path(name), referring, kind))
    for place in places:
        if place.is_file():
            return place
    raise SettingsError([Problem(str(name), "", _not_found(Path(name), places))])


def _places(name: Path, referring: Path | None, kind: str | None) -> Iterator[Path]:
    if not name.name:
        return
    folders = [Path()]
    if referring is not None:
        folders.append(referring.parent)
    kinds = KINDS if kind is None else (kind,)
    folders += [configs / folder for configs in (Path("configs"), packaged_configs()) for folder in kinds]
    for folder in folders:
        yield folder / name
        if name.suffix != ".toml":
            yield folder / name.with_name(name.name + ".toml")


def _not_found(name: Path, places: list[Path]) -> str:
    known = {path.stem for folder in {place.parent for place in places} for path in folder.glob("*.toml")}
    close = difflib.get_close_matches(name.name.removesuffix(".toml"), sorted(known), n=1)
    folders = list(dict.fromkeys(str(place.parent) for place in places))
    hint = f"did you mean {close[0]}.toml? " if close else ""
    return f"no such settings file; {hint}looked in {', '.join(folders)}"
