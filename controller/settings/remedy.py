"""What pydantic found wrong with an entry, in plain words with the remedy.

Pydantic's own messages speak to programmers; these speak to someone with a text editor open. Each function turns one
family of its errors into the sentence after the key.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from controller.settings.base import NAME_PATTERN
from controller.settings.problem import wrote

PATTERN_WORDS = {NAME_PATTERN: "must hold only letters, digits, - and _, and start with a letter or digit"}

LIKENESS = 0.7
"""How alike two keys must be for a suggestion. Chosen so that a slip in a word finds it, another word not."""

LIMITS = {
    "greater_than": ("more than", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("less than", "lt"),
    "less_than_equal": ("at most", "le"),
}

SHAPES = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list in square brackets",
    "tuple_type": "a list of numbers in square brackets",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "dict_type": "a table",
    "finite_number": "a finite number",
}


@dataclass(slots=True, frozen=True)
class Mistake:
    """One error, with what the file says.

    Args:
        error: As pydantic reports it.
        path: Where it is in the file, without pydantic's own labels for members of a union.
        entry: What stands there in the file, if anything.
        model: The model of the whole file.
    """

    error: ErrorDetails
    path: tuple[str | int, ...]
    entry: Any
    model: type[BaseModel]

    @property
    def context(self) -> dict[str, Any]:
        """What pydantic says besides: limits, choices, lengths."""
        return self.error.get("ctx", {})

    @property
    def tag(self) -> str | int | None:
        """The label of the union member pydantic chose, when there is one."""
        location = self.error["loc"]
        return location[-2] if len(location) > len(self.path) else None


def remedy(mistake: Mistake) -> str:
    """The sentence for one mistake."""
    kind = mistake.error["type"]
    if kind in LIMITS:
        words, bound = LIMITS[kind]
        return f"must be {words} {mistake.context[bound]:g}{wrote(mistake.entry)}"
    if kind == "list_type" and isinstance(mistake.entry, dict):
        return f"must be a list of tables: write [[{_table_name(mistake.path)}]] in double brackets"
    if kind in SHAPES:
        return f"must be {SHAPES[kind]}{wrote(mistake.entry)}"
    speak = SPOKEN.get(kind)
    return speak(mistake) if speak else f"{mistake.error['msg']}{wrote(mistake.entry)}"


def _missing(mistake: Mistake) -> str:
    if isinstance(mistake.error["loc"][-1], int):
        return f"needs {mistake.error['loc'][-1] + 1} entries{wrote(mistake.entry)}"
    *above, name = mistake.path
    field = fields_at(mistake.model, above).get(str(name))
    if field is not None and _is_table(field):
        return f"is missing; add the table [{name}]"
    return f"is missing; add {name} = … to {_place(above)}"


def _place(table: Sequence[str | int]) -> str:
    if not table:
        return "the top of the file"
    name = _table_name(table)
    return f"[[{name}]]" if isinstance(table[-1], int) else f"[{name}]"


def _table_name(path: Sequence[str | int]) -> str:
    return ".".join(part for part in path if isinstance(part, str))


def meant(mistake: Mistake) -> str | None:
    """The known key that an unknown key was most likely meant to be."""
    return closest(str(mistake.path[-1]), list(fields_at(mistake.model, mistake.path[:-1], mistake.tag)))


def _unknown(mistake: Mistake) -> str:
    *above, name = mistake.path
    close = meant(mistake)
    if close:
        return f"unknown key; did you mean {close}?"
    home = [section for section, field in mistake.model.model_fields.items() if str(name) in _fields_of(field)]
    if home:
        return f"unknown key here; it belongs to [{home[0]}]"
    known = fields_at(mistake.model, above, mistake.tag)
    return f"unknown key; known here: {', '.join(known)}" if known else "unknown key"


def _length(mistake: Mistake) -> str:
    context = mistake.context
    if "min_length" in context:
        return f"needs at least {context['min_length']} {_things(context['min_length'])}{wrote(mistake.entry)}"
    return f"may hold only {context['max_length']} {_things(context['max_length'])}{wrote(mistake.entry)}"


def _things(count: int) -> str:
    return "entry" if count == 1 else "entries"


def _empty(mistake: Mistake) -> str:
    return f"must not be empty{wrote(mistake.entry)}"


def _choice(mistake: Mistake) -> str:
    choices = mistake.context.get("expected") or mistake.context.get("expected_tags") or ""
    return f"must be {_double_quotes(choices)}{wrote(mistake.entry)}"


def _double_quotes(choices: str) -> str:
    return choices.replace("'", '"').replace('", "', '" or "')


def _tag(mistake: Mistake) -> str:
    tag = mistake.context["discriminator"].strip("'")
    choices = _double_quotes(mistake.context.get("expected_tags", "")) or "one of the known kinds"
    if isinstance(mistake.entry, Mapping) and tag in mistake.entry:
        return f"{tag} must be {choices}{wrote(mistake.entry[tag])}"
    return f'{tag} is missing; add {tag} = "…" to say what it is'


def _pattern(mistake: Mistake) -> str:
    pattern = mistake.context["pattern"]
    return f"{PATTERN_WORDS.get(pattern, f'must match {pattern}')}{wrote(mistake.entry)}"


def _spoken_value(mistake: Mistake) -> str:
    return f"{mistake.context['error']}"


SPOKEN: dict[str, Callable[[Mistake], str]] = {
    "missing": _missing,
    "extra_forbidden": _unknown,
    "too_short": _length,
    "too_long": _length,
    "string_too_short": _empty,
    "literal_error": _choice,
    "enum": _choice,
    "union_tag_invalid": _tag,
    "union_tag_not_found": _tag,
    "string_pattern_mismatch": _pattern,
    "value_error": _spoken_value,
}


def closest(name: str, known: Sequence[str]) -> str | None:
    """The known key that was most likely meant: the same word with its unit, or else a near spelling."""
    with_unit = [key for key in known if key.startswith(name + "_")]
    if with_unit:
        return with_unit[0]
    close = difflib.get_close_matches(name, known, n=1, cutoff=LIKENESS)
    return close[0] if close else None


def fields_at(
    model: type[BaseModel], path: Sequence[str | int], tag: str | int | None = None
) -> Mapping[str, FieldInfo]:
    """The fields a table may have at a path; `tag` picks the member of a tagged union."""
    fields: Mapping[str, FieldInfo] = model.model_fields
    for part in path:
        if isinstance(part, str):
            fields = _fields_of(fields[part], tag) if part in fields else {}
    return fields


def _fields_of(field: FieldInfo, tag: str | int | None = None) -> Mapping[str, FieldInfo]:
    """The fields of the table (or of the tagged table) that a field holds; none when it holds something else."""
    models = _models_in(field.annotation)
    for model in models:
        kind = model.model_fields.get("kind")
        if kind is None or tag in get_args(kind.annotation):
            return model.model_fields
    return {}


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models_in(part)]


def _is_table(field: FieldInfo) -> bool:
    return isinstance(field.annotation, type) and issubclass(field.annotation, BaseModel)
