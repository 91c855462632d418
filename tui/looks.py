"""How things look: colours of the terminal itself, so that its light or dark is kept, and a sign beside every colour.

Everything that a colour tells is told by a sign or a word, too. Only the eight colours that every terminal lets its
owner choose are used, and never a background of our own.
"""

from __future__ import annotations

from typing import Final

QUIET: Final = "dim"
STRONG: Final = "bold"
HEAD: Final = "bold cyan"
GRAVE: Final = "bold red"
WAITS: Final = "bold yellow"
MARKED: Final = "reverse"

# The states of the gap, in the order in which the last minute shows them: name, style.
GAP: Final = (("sparking", "cyan"), ("open", "default"), ("shorted", "bold magenta"), ("drop-out", "yellow"))
# Eighths of a cell, from nothing to full.
EIGHTHS: Final = " ▁▂▃▄▅▆▇█"

# What a hole is like: sign, style, words.
HOLES: Final = {
    "to do": ("·", "dim", "to do"),
    "through": ("●", "green", "through"),
    "mixed": ("◐", "green", "partly"),
    "undersize": ("▽", "bold yellow", "undersize"),
    "failed": ("×", "bold red", "failed"),
    "now": ("◉", "bold cyan", "now"),
}
ROD, WORK, WATER, TIP, MARK = "█", "░", " ", "▼", "╌"
