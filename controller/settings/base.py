"""The base of every settings model: strict, frozen, no unknown keys."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Settings(BaseModel):
    """A validated piece of a settings file. Unknown keys are errors; numbers must be finite; values never change."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
