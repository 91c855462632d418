"""What the lines of an `ack` board mean (wires.md, "Motion board, `ack` convention")."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum, auto

from controller.link.grid import Steps


class Kind(Enum):
    """Kinds of line."""

    OK = auto()  # a line was taken; `number` is its line number where the board tells it
    RESEND = auto()  # `number` is the line that is wanted again; an OK of its own follows
    START = auto()  # the board has booted
    BUSY = auto()  # keep-alive
    UNKNOWN = auto()  # the command whose OK comes next is not known to this board
    FATAL = auto()  # halted, killed
    ERROR = auto()  # anything else that went wrong; what follows from it is told by other lines
    COUNT = auto()  # position report; `steps` is the board's own count
    END_STOP = auto()  # one line of the end-stop report
    OTHER = auto()


@dataclass(slots=True, frozen=True)
class Reply:
    """One line, understood."""

    kind: Kind
    number: int | None = None
    steps: Steps | None = None


OTHER = Reply(Kind.OTHER)
_OK = re.compile(r"ok(?:\s+N(\d{1,9}))?(?:\s.*)?")
_RESEND = re.compile(r"(?:Resend:|rs)\s*N?:?\s*(\d{1,9})(?:\s.*)?")
_COUNT = re.compile(r".*\bCount X:\s*(-?\d{1,10})\s*Y:\s*(-?\d{1,10})\s*Z:\s*(-?\d{1,10})(?:\s.*)?")
_UNKNOWN = re.compile(r'echo:Unknown command:\s*"?([A-Z]\d+(?:\.\d+)?)(?:[\s"][^*]*)?')
_END_STOP = re.compile(r"[a-z]+\d?_(?:min|max|probe)\d?: *(?:open|TRIGGERED)")
_FATAL_WORDS = ("halt", "kill")


def read_reply(line: str) -> Reply:
    """What a line means."""
    if found := _OK.fullmatch(line):
        return Reply(Kind.OK, None if found[1] is None else int(found[1]))
    if found := _COUNT.fullmatch(line):
        return Reply(Kind.COUNT, steps=(int(found[1]), int(found[2]), int(found[3])))
    if found := _RESEND.fullmatch(line):
        return Reply(Kind.RESEND, int(found[1]))
    if line == "start":
        return Reply(Kind.START)
    return _less_usual(line)


def unknown_command(line: str) -> str:
    """The command that a board says it does not know; empty when what it was given is no command at all.

    Only the first word counts: a line whose number was spoilt holds a good command further on. What still has its
    checksum is the end of a numbered line whose beginning was lost.
    """
    found = _UNKNOWN.fullmatch(line)
    return found[1] if found else ""


def _less_usual(line: str) -> Reply:
    if line.startswith(("echo:busy:", "busy:")):
        return Reply(Kind.BUSY)
    if line.startswith("echo:Unknown command"):
        return Reply(Kind.UNKNOWN)
    if line.startswith("Error:"):
        fatal = any(word in line.lower() for word in _FATAL_WORDS)
        return Reply(Kind.FATAL if fatal else Kind.ERROR)
    return Reply(Kind.END_STOP) if _END_STOP.fullmatch(line) else OTHER
