"""Hypothesis profiles: `dev` is quick, `ci` (HYPOTHESIS_PROFILE=ci) looks longer and the same every time."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# Deadlines are wall-clock time, which no test of ours asserts; slow data generation says nothing about our code.
COMMON = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}

settings.register_profile("dev", max_examples=50, **COMMON)
settings.register_profile("ci", max_examples=100, derandomize=True, **COMMON)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "dev"))
