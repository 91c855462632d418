"""`gapwright answer`: lists what waits for the operator in a run, or answers it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from controller.bus.listener import ask, look_at, running
from controller.bus.place import BusError
from controller.core.events import PromptRaised
from controller.core.requests import Answer
from controller.record.journal import read_journal
from controller.screen import AsJson, BadUsage, out


def answer(
    run: Annotated[Path | None, typer.Argument(metavar="[RUN]", help="The folder of the run.")] = None,
    choice: Annotated[
        str | None,
        typer.Argument(metavar="[CHOICE]", help="One of the answers that are taken; without it they are listed."),
    ] = None,
    reading: Annotated[str, typer.Option("--reading", help="A number to go with the answer.")] = "",
    as_json: AsJson = False,
) -> None:
    """Tell what waits for the operator in a run that goes on, or answer it; what is answered is then proved."""
    run = run or _only_one()
    waiting = _waiting(run)
    if choice is None:
        _list(run, waiting, as_json=as_json)
        return
    if waiting is None:
        raise BadUsage(f"{run}: nothing waits for an answer")
    if choice not in waiting.choices:
        raise BadUsage(f"{run}: {choice!r} is no answer here; answer one of: {', '.join(waiting.choices)}")
    refused = ask(run, Answer(waiting.prompt, choice, reading))
    if refused:
        raise BadUsage(f"{run}: {refused}")
    out.print(f"Answered {choice}. {waiting.what_next}", markup=False, highlight=False, soft_wrap=True)


def _waiting(run: Path) -> PromptRaised | None:
    """What waits in a run that goes on. Raises BadUsage when it does not go on, with the way on."""
    try:
        return look_at(run).prompt
    except BusError as nobody:
        stop = read_journal(run).stop
        how = f"it ended {stop.outcome}: {stop.reason}" if stop else "it broke off"
        raise BadUsage(f"{nobody}\n{how}\nGo on with it by `gapwright resume {run}`.") from nobody


def _only_one() -> Path:
    """The run that goes on, when there is only one."""
    going_on = running()
    if len(going_on) != 1:
        names = ", ".join(map(str, going_on)) or "none"
        raise BadUsage(f"name the run: {len(going_on)} go on now ({names})")
    return going_on[0]


def _list(run: Path, waiting: PromptRaised | None, *, as_json: bool) -> None:
    if as_json:
        row = None if waiting is None else waiting.row()
        out.print(json.dumps({"run": str(run), "waiting": row}), markup=False, highlight=False, soft_wrap=True)
        return
    lines = [f"{run}: nothing waits for an answer."]
    if waiting is not None:
        lines = [
            f"{run} waits: {waiting.topic}",
            f"What happened: {waiting.what_happened}",
            f"What to do: {waiting.what_to_do}",
            f"Then: {waiting.what_next}",
            *(f"  gapwright answer {run} {_quoted(choice)}" for choice in waiting.choices),
        ]
    for line in lines:
        out.print(line, markup=False, highlight=False, soft_wrap=True)


def _quoted(choice: str) -> str:
    return f'"{choice}"' if " " in choice else choice
