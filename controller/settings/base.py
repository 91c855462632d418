"""The base of every settings model: strict, frozen, no unknown keys."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict

NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9_-]*$"
"""What a job's or machine's name may hold. Chosen so that every file system takes it as part of a folder's name."""


class Settings(BaseModel):
    """A validated piece of a settings file. Unknown keys are errors; numbers must be finite; values never change."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
