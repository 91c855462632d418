"""What somebody who watches may ask of a run."""

from __future__ import annotations

from typing import Final

# Whoever sits at the computer of the machine, as its owner.
OWNER: Final = frozenset({"hold", "go_on", "answer", "end", "skip", "measure"})
# Whoever looks from another computer: may stop the machine, and never start it.
REMOTE: Final = frozenset({"hold"})
