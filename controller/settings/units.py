"""The few unit factors every layer shares."""

from typing import Final

UM_PER_MM: Final = 1000.0
MM_PER_M: Final = 1000.0
S_PER_MS: Final = 0.001
