"""What is said in the fields becomes a command, or a mistake that is named."""

from __future__ import annotations

import pytest
import typer
from typer.testing import CliRunner

from controller.commands_locate import app
from tui.things import PLACES_THE_JOB, THINGS, FieldError, arguments, thing_of

FULL = {
    "near-x": "70", "near-y": "65,5", "turned": "-8", "off": "1.5", "at-x": "8", "at-y": "62", "diameter": "6",
    "height": "3", "tip": "45.3",
}  # fmt: skip


def test_what_is_left_empty_is_left_to_the_files() -> None:
    assert arguments(thing_of("corner"), {}, anew=False) == ["corner"]
    assert arguments(thing_of("pocket"), {}, anew=False) == ["corner", "--inside"]


def test_what_stands_there_is_said_and_a_comma_is_a_point() -> None:
    said = arguments(thing_of("boss"), FULL, anew=True)
    assert said == [
        "boss", "--near", "70", "65.5", "--turned", "-8", "--off", "1.5", "--at", "8", "62", "--diameter", "6",
        "--height", "3", "--new",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("thing", "said", "field", "words"),
    [
        ("bore", {"at-x": "8", "at-y": "62"}, "diameter", "missing"),
        ("bore", {"diameter": "6"}, "at-x", "missing"),
        ("corner", {"near-x": "70"}, "near-y", "nothing is no number"),
        ("corner", {"near-x": "here", "near-y": "65"}, "near-x", "here is no number"),
        ("corner", {"turned": "inf"}, "turned", "inf is no number"),
        ("corner", {"off": "0"}, "off", "more than 0"),
    ],
)
def test_a_mistake_names_its_field(thing: str, said: dict[str, str], field: str, words: str) -> None:
    with pytest.raises(FieldError, match=words) as refused:
        arguments(thing_of(thing), said, anew=False)
    assert refused.value.field == field


@pytest.mark.parametrize("key", [thing.key for thing in THINGS])
def test_the_command_knows_every_word(key: str) -> None:
    """Everything said at once: it is refused for the job that is not there, and for nothing else."""
    words = arguments(thing_of(key), FULL, anew=True)
    refused = CliRunner().invoke(app, [words[0], "no-such-job.toml", *words[1:], "--rehearse"])
    assert not isinstance(refused.exception, typer.Exit)
    assert "no-such-job.toml" in str(refused.exception) + refused.output
    assert "No such option" not in refused.output


def test_only_what_places_the_job_forgets_what_did_before() -> None:
    for thing in THINGS:
        assert ("--new" in arguments(thing, FULL, anew=True)) == (thing.key in PLACES_THE_JOB)
