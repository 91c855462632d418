"""What travels on the bus: snapshots, events and requests as plain JSON, and back again. Nothing is ever unpickled."""

from __future__ import annotations

import json
from dataclasses import asdict, fields
from typing import Any, Final, TypeVar

from controller.core import events
from controller.core.events import Event
from controller.core.requests import Answer, HoldRequest, MeasureRequest, PauseRequest, Request, SkipRequest
from controller.core.snapshot import Snapshot

T = TypeVar("T")

EVENTS: Final[dict[str, type[Event]]] = {
    name: shape for name, shape in vars(events).items() if isinstance(shape, type) and issubclass(shape, Event)
}
# What may be asked, under the word that asks for it. To go on after a hold is an answer to its prompt.
REQUESTS: Final[dict[str, type[Any]]] = {
    "answer": Answer,
    "end": HoldRequest,
    "hold": PauseRequest,
    "skip": SkipRequest,
    "measure": MeasureRequest,
}
WORDS: Final = {shape: word for word, shape in REQUESTS.items()}


class MessageError(Exception):
    """A message that is none of ours; the text says what is wrong with it."""


def packed(message: dict[str, Any]) -> bytes:
    """A message as bytes."""
    return json.dumps(message, separators=(",", ":"), ensure_ascii=False).encode("utf-8")


def unpacked(content: bytes) -> dict[str, Any]:
    """A message from bytes. Raises MessageError."""
    try:
        message = json.loads(content)
    except ValueError as error:
        raise MessageError("no JSON") from error
    if not isinstance(message, dict):
        raise MessageError("no JSON object")
    return message


def snapshot_fields(snapshot: Snapshot) -> dict[str, Any]:
    """A snapshot as plain fields."""
    return asdict(snapshot)


def snapshot_of(named: dict[str, Any]) -> Snapshot:
    """A snapshot from its fields. Raises MessageError."""
    return _made(Snapshot, named)


def event_fields(event: Event) -> dict[str, Any]:
    """An event as plain fields, `kind` first."""
    return event.row()


def event_of(named: dict[str, Any]) -> Event:
    """An event from its fields. Raises MessageError."""
    shape = EVENTS.get(str(named.get("kind")))
    if shape is None:
        raise MessageError(f"unknown kind of event {named.get('kind')!r}")
    return _made(shape, {name: each for name, each in named.items() if name != "kind"})


def request_fields(request: Request) -> dict[str, Any]:
    """A request as plain fields, the word that asks for it under `ask`."""
    return {"ask": WORDS[type(request)], **asdict(request)}


def request_of(named: dict[str, Any]) -> Request:
    """A request from its fields. Raises MessageError: requests come from outside."""
    shape = REQUESTS.get(str(named.get("ask")))
    if shape is None:
        raise MessageError(f"can't be asked for: {named.get('ask')!r}; ask for one of {', '.join(REQUESTS)}")
    request: Request = _made(shape, {name: each for name, each in named.items() if name != "ask"})
    for field in fields(shape):
        given = getattr(request, field.name)
        if type(given).__name__ != field.type:  # bool is no number here
            raise MessageError(f"{named['ask']}: {field.name} must be of type {field.type}")
    return request


def _made(shape: type[T], named: dict[str, Any]) -> T:
    held = {name: tuple(each) if isinstance(each, list) else each for name, each in named.items()}
    try:
        return shape(**held)
    except TypeError as error:
        raise MessageError(f"the fields of a {shape.__name__} don't match this version") from error
