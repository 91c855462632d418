"""The capture of a run: every byte on both wires, both ways, with its time, and what people asked for.

One record a tick, in plain binary so that a file that breaks off with a crash is good up to there. The head holds the
start record, so a capture needs no other file to be repeated.
"""

from __future__ import annotations

import gzip
import json
import struct
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final, get_args

from pydantic import ValidationError

from controller.core import requests as asked
from controller.core.events import Event
from controller.core.requests import Request
from controller.host.session import Look, Outcome
from controller.link.machine_link import Wire
from controller.record.journal import StartRecord

CAPTURE_NAME: Final = "capture.bin"
MAGIC: Final = b"gapwright capture 1\n"
# Time (s); lengths of the bytes that came and went, board then sampler; length of the JSON of everything else.
HEAD: Final = struct.Struct("<d4HI")
REQUESTS: Final = {shape.__name__: shape for shape in get_args(asked.Request)}
GZIP_MAGIC: Final = b"\x1f\x8b"  # RFC 1952


class CaptureError(Exception):
    """A file is no capture of ours; the message names it."""


def free_capture(run: Path) -> Path:
    """Where the next capture of a run goes: one for each time it was started."""
    path, number = run / CAPTURE_NAME, 1
    while path.exists():
        number += 1
        path = (run / CAPTURE_NAME).with_stem(f"{Path(CAPTURE_NAME).stem}-{number}")
    return path


def head_bytes(start: StartRecord) -> bytes:
    """How a capture begins."""
    return MAGIC + start.model_dump_json().encode("utf-8") + b"\n"


def look_bytes(look: Look, outcome: Outcome) -> bytes:
    """The record of one tick."""
    rest = _rest(look, outcome)
    lengths = len(look.board), len(look.sampler), len(outcome.board), len(outcome.sampler), len(rest)
    return b"".join((HEAD.pack(look.time_s, *lengths), look.board, look.sampler, outcome.board, outcome.sampler, rest))


def event_rows(events: Iterable[Event]) -> list[dict[str, Any]]:
    """Events as plain fields, as a capture holds them."""
    return [
        {name: list(held) if isinstance(held, tuple) else held for name, held in each.row().items()} for each in events
    ]


class Capture:
    """A capture, read.

    Args:
        path: The file, or the folder of its run; packed with gzip or plain.

    Raises:
        CaptureError: It is none.

    Attributes:
        start: The start record of its run.
    """

    def __init__(self, path: Path) -> None:
        self._path = path / CAPTURE_NAME if path.is_dir() else path
        try:
            content = self._path.read_bytes()
            content = gzip.decompress(content) if content.startswith(GZIP_MAGIC) else content
        except (OSError, EOFError, zlib.error) as error:
            why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            raise CaptureError(
                f"{self._path}: can't be read ({why}); name a capture or the folder of its run"
            ) from error
        line_end = content.find(b"\n", len(MAGIC))
        if not content.startswith(MAGIC) or line_end < 0:
            raise CaptureError(f"{self._path}: is no capture of this version; `run --capture` makes one")
        try:
            self.start = StartRecord.model_validate_json(content[len(MAGIC) : line_end])
        except ValidationError as error:
            raise CaptureError(f"{self._path}: its start record can't be read ({error})") from error
        self._content, self._begin = content, line_end + 1

    def ticks(self) -> Iterator[tuple[Look, bytes, bytes, list[dict[str, Any]]]]:
        """Tick by tick: what was met, what was written to board and sampler, and the events as plain fields."""
        content, place = self._content, self._begin
        while place + HEAD.size <= len(content):
            time_s, *lengths = HEAD.unpack_from(content, place)
            place += HEAD.size
            if place + sum(lengths) > len(content):
                return  # broken off here
            parts = []
            for length in lengths:
                parts.append(content[place : place + length])
                place += length
            heard, heard_too, said, said_too, rest = parts
            look = Look(time_s, heard, heard_too)
            yield look, said, said_too, self._read_rest(look, rest) if rest else []

    def _read_rest(self, look: Look, rest: bytes) -> list[dict[str, Any]]:
        try:
            held = json.loads(rest)
            look.requests = [_request(*each) for each in held["requests"]]
            look.missed = tuple(held["missed"]) if held["missed"] else None
            look.lost = [(Wire(wire), why) for wire, why in held["lost"]]
            events: list[dict[str, Any]] = held["events"]
        except (ValueError, KeyError, TypeError) as error:
            raise CaptureError(f"{self._path}: spoilt at {look.time_s:.3f} s ({error})") from error
        return events


def _rest(look: Look, outcome: Outcome) -> bytes:
    """Whatever is not in every tick, as JSON; empty when there is nothing."""
    if not (look.requests or look.missed or look.lost or outcome.events):
        return b""
    requests = [[type(each).__name__, asdict(each)] for each in look.requests]
    lost = [[wire.value, why] for wire, why in look.lost]
    held = {"requests": requests, "missed": look.missed, "lost": lost, "events": event_rows(outcome.events)}
    return json.dumps(held, separators=(",", ":")).encode("utf-8")


def _request(kind: str, named: dict[str, Any]) -> Request:
    request: Request = REQUESTS[kind](**named)
    return request
