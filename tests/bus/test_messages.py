from __future__ import annotations

import json
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.bus.messages import (
    EVENTS,
    REQUESTS,
    MessageError,
    event_fields,
    event_of,
    packed,
    request_fields,
    request_of,
    snapshot_fields,
    snapshot_of,
    unpacked,
)
from controller.core.events import Event
from controller.core.requests import Answer, Request
from controller.core.snapshot import Snapshot

FINITE = st.floats(allow_nan=False, allow_infinity=False)
SHAPES = sorted((shape for shape in EVENTS.values() if shape is not Event), key=lambda shape: shape.__name__)


@given(st.data(), st.sampled_from(SHAPES))
def test_every_event_comes_back_as_it_went(data: st.DataObject, shape: type[Event]) -> None:
    event = data.draw(st.builds(shape, time_s=FINITE))
    assert repr(event_of(unpacked(packed(event_fields(event))))) == repr(event)  # a NaN is never equal to itself


@given(st.builds(Snapshot, time_s=FINITE))
def test_every_snapshot_comes_back_as_it_went(snapshot: Snapshot) -> None:
    again = snapshot_of(unpacked(packed(snapshot_fields(snapshot))))
    assert repr(again) == repr(snapshot)


def test_every_request_can_be_asked_for() -> None:
    assert set(REQUESTS.values()) == set(get_args(Request))


@given(st.one_of(*(st.builds(shape) for shape in REQUESTS.values())))
def test_every_request_comes_back_as_it_went(request: Request) -> None:
    assert request_of(json.loads(json.dumps(request_fields(request)))) == request


@pytest.mark.parametrize(
    "named",
    [
        {},
        {"ask": "fly"},
        {"ask": ["hold"]},
        {"ask": "hold"},
        {"ask": "hold", "why": 3},
        {"ask": "skip", "hole": True},
        {"ask": "skip", "hole": "1"},
        {"ask": "answer", "prompt": 1, "choice": "end", "reading": "", "more": 1},
    ],
)
def test_what_is_no_request_is_refused_in_words(named: dict[str, object]) -> None:
    with pytest.raises(MessageError):
        request_of(named)


@given(st.binary())
def test_any_bytes_are_a_message_or_are_refused(content: bytes) -> None:
    try:
        named = unpacked(content)
    except MessageError:
        return
    assert isinstance(named, dict)


def test_an_answer_needs_no_reading() -> None:
    assert request_of({"ask": "answer", "prompt": 1, "choice": "end"}) == Answer(1, "end")
