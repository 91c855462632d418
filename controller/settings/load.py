"""From a settings file to a validated model, or to a list of everything that is wrong with it.

A file passes three gates, and a mistake at one never hides those of another: it is TOML; every entry is sound by itself
(pydantic, strict: "1.0" in quotes is no number); the entries agree with each other (`rules`).
"""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from controller.settings.find import resolve
from controller.settings.job import Job
from controller.settings.machine import Machine
from controller.settings.problem import Problem, SettingsError, dotted, quoted
from controller.settings.remedy import SHAPES, Mistake, meant, remedy
from controller.settings.rules import RULES, unfit_pair
from controller.settings.technology import Technology

__all__ = [
    "Problem",
    "SettingsError",
    "load_job",
    "load_machine",
    "load_overlay",
    "load_technology",
    "load_text",
    "resolve",
    "technology_of",
]

ModelT = TypeVar("ModelT", bound=BaseModel)
KeyPath = tuple[str | int, ...]
MISSING = object()


def load_machine(path: Path, changes: Mapping[str, Any] | None = None) -> Machine:
    """The machine of a file, with entries changed by dotted key; raises SettingsError with every mistake."""
    return _accepted(*_checked(_changed(read_toml(path), changes or {}), Machine, lambda _: str(path)))


def load_job(path: Path, changes: Mapping[str, Any] | None = None) -> Job:
    """The job of a file, its technology and materials checked too; raises SettingsError with every mistake.

    `changes` replaces entries by dotted key, before anything is checked.
    """
    raw = _changed(read_toml(path), changes or {})
    job, found = _checked(raw, Job, lambda _: str(path))
    return _accepted(job, found + _unfit(raw, {problem.key for problem in found}, path))


def load_technology(path: Path) -> Technology:
    """The technology of a file; raises SettingsError with every mistake."""
    return _load(path, Technology)


def technology_of(job: Job, job_path: Path) -> Technology:
    """The technology a job names, looked for beside the job's file first; raises SettingsError."""
    return load_technology(resolve(job.job.technology, job_path, "technology"))


def load_text(text: str, name: str, model: type[ModelT]) -> ModelT:
    """The model of a file's text, as it was kept with a run; problems name it `name`. Raises SettingsError."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError([Problem(name, "", f"not valid TOML: {_lowered(str(error))}")]) from error
    return _accepted(*_checked(raw, model, lambda _: name))


def load_overlay(base: Path, overlay: Path | None, model: type[ModelT]) -> ModelT:
    """The model of a base file with the entries of an overlay laid over it, table by table.

    Problems name the file that holds the bad entry.
    """
    ground = read_toml(base)
    if overlay is None:
        return _accepted(*_checked(ground, model, lambda _: str(base)))
    over = read_toml(overlay)
    merged = _laid_over(ground, over)
    return _accepted(*_checked(merged, model, lambda path: str(base if _entry(over, path) is MISSING else overlay)))


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file; raises SettingsError with line and column when it is none."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise SettingsError([Problem(str(path), "", f"not valid TOML: {_lowered(str(error))}")]) from error
    except UnicodeDecodeError as error:
        words = f"not UTF-8 text (byte {error.start}); save it again as UTF-8"
        raise SettingsError([Problem(str(path), "", words)]) from error
    except OSError as error:
        raise SettingsError([Problem(str(path), "", f"can't be read: {error.strerror}")]) from error


def _changed(raw: dict[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """The tables with entries replaced by dotted key; tables that are missing are added."""
    for key, entry in changes.items():
        *above, name = key.split(".")
        table = raw
        for part in above:
            table = table.setdefault(part, {})
        table[name] = entry
    return raw


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _load(path: Path, model: type[ModelT]) -> ModelT:
    return _accepted(*_checked(read_toml(path), model, lambda _: str(path)))


def _accepted(built: ModelT | None, found: list[Problem]) -> ModelT:
    if built is None or found:
        raise SettingsError(found)
    return built


def _checked(
    raw: dict[str, Any], model: type[ModelT], file_of: Callable[[KeyPath], str]
) -> tuple[ModelT | None, list[Problem]]:
    """The model, if every entry is sound by itself, and all problems of entries and of rules."""
    built, mistakes = _built(raw, model)
    renames = dict(_renames(mistakes))
    if renames:
        # A key under a wrong name is one mistake; its entry is judged under the right name.
        found = [Problem(file_of(path), dotted(path), _sentence(mistakes[path])) for path in renames]
        return None, found + _checked(_renamed(raw, renames), model, file_of)[1]
    found = [Problem(file_of(path), dotted(path), _sentence(together)) for path, together in mistakes.items()]
    return built, found + list(_broken_rules(raw, model, set(mistakes), file_of))


def _built(raw: dict[str, Any], model: type[ModelT]) -> tuple[ModelT | None, dict[KeyPath, list[Mistake]]]:
    """The model, or what pydantic finds wrong at each place of the file."""
    try:
        # JSON, because pydantic's strict validation takes a list for a tuple only from there.
        return model.model_validate_json(json.dumps(raw, default=str), strict=True), {}
    except ValidationError as refused:
        mistakes: dict[KeyPath, list[Mistake]] = {}
        for error in refused.errors(include_url=False):
            path = _path_in_file(raw, error)
            mistakes.setdefault(path, []).append(Mistake(error, path, _entry(raw, path), model))
        return None, mistakes


def _renames(mistakes: Mapping[KeyPath, list[Mistake]]) -> Iterator[tuple[KeyPath, str]]:
    """The keys that stand there under a wrong name, with the right name, which is missing."""
    for path, together in mistakes.items():
        right = meant(together[0]) if together[0].error["type"] == "extra_forbidden" else None
        if right is not None and (*path[:-1], right) in mistakes:
            yield path, right


def _renamed(raw: dict[str, Any], renames: Mapping[KeyPath, str]) -> dict[str, Any]:
    mended = copy.deepcopy(raw)
    for path, right in renames.items():
        table = _entry(mended, path[:-1])
        table.setdefault(right, table[path[-1]])
        del table[path[-1]]
    return mended


def _sentence(together: list[Mistake]) -> str:
    """One sentence for all mistakes of one entry: the members of a union each report one."""
    shapes = list(dict.fromkeys(SHAPES[each.error["type"]] for each in together if each.error["type"] in SHAPES))
    if len(together) > 1 and len(shapes) == len(together):
        return remedy(together[0]).replace(shapes[0], " or ".join(shapes), 1)
    telling = [each for each in together if each.error["type"] not in SHAPES]
    return remedy(telling[-1] if telling else together[0])


def _path_in_file(raw: Mapping[str, Any], error: ErrorDetails) -> KeyPath:
    """Pydantic's location as it stands in the file.

    The labels it adds for members of a union are left out; what lies below one of a plain union counts as the entry's.
    """
    path: list[str | int] = []
    here: Any = raw
    last = len(error["loc"]) - 1
    for place, part in enumerate(error["loc"]):
        below = _step(here, part)
        if below is not MISSING:
            path.append(part)
            here = below
        elif not isinstance(here, dict):
            break
        elif place == last and error["type"] == "missing":
            path.append(part)
    return tuple(path)


def _unfit(raw: Mapping[str, Any], unsound: set[str], path: Path) -> list[Problem]:
    """What is wrong between a job and the technology it names, as far as the keys for it are sound."""

    def sound(section: str, key: str) -> Any:
        entry = _entry(raw, (section, key))
        return None if entry is MISSING or {section, f"{section}.{key}"} & unsound else entry

    name = sound("job", "technology")
    if name is None:
        return []
    try:
        place = resolve(name, path, "technology")
    except SettingsError as error:
        return [Problem(str(path), "job.technology", f"{error.problems[0].remedy}; you wrote {quoted(name)}")]
    try:
        technology = load_technology(place)
    except SettingsError as error:
        return list(error.problems)
    misfits = unfit_pair(sound("work", "material"), sound("electrode", "material"), technology)
    return [Problem(str(path), key, words) for key, words in misfits]


def _step(here: Any, part: str | int) -> Any:
    if isinstance(here, dict) and isinstance(part, str):
        return here.get(part, MISSING)
    if isinstance(here, list) and isinstance(part, int) and part < len(here):
        return here[part]
    return MISSING


def _entry(raw: Mapping[str, Any], path: KeyPath) -> Any:
    here: Any = raw
    for part in path:
        here = _step(here, part)
    return here


def _broken_rules(
    raw: Mapping[str, Any], model: type[BaseModel], unsound: set[KeyPath], file_of: Callable[[KeyPath], str]
) -> Iterator[Problem]:
    """The rules that fail, among those whose keys are all sound."""
    for rule in RULES.get(model, ()):
        paths = [tuple(key.split(".")) for key in rule.keys]
        entries = [_entry_or_default(raw, model, path) for path in paths]
        if any(entry is MISSING for entry in entries) or any(_touched(path, unsound) for path in paths):
            continue
        words = rule.broken(*entries)
        if words is not None:
            unsound.add(paths[0])
            yield Problem(file_of(paths[0]), rule.keys[0], words)


def _touched(path: tuple[str, ...], unsound: set[KeyPath]) -> bool:
    return any(bad[: len(path)] == path or path[: len(bad)] == bad for bad in unsound)


def _entry_or_default(raw: Mapping[str, Any], model: type[BaseModel], path: tuple[str, ...]) -> Any:
    """What the file says at a path, or the default; MISSING when it is required and not there."""
    entry = _entry(raw, path)
    if entry is not MISSING:
        return entry
    fields = model.model_fields
    for part in path[:-1]:
        section = fields[part].annotation
        if not (isinstance(section, type) and issubclass(section, BaseModel)):
            return MISSING
        fields = section.model_fields
    field = fields[path[-1]]
    return MISSING if field.is_required() else field.default


def _laid_over(ground: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(ground)
    for key, entry in over.items():
        below = merged.get(key)
        merged[key] = _laid_over(below, entry) if isinstance(below, dict) and isinstance(entry, dict) else entry
    return merged
