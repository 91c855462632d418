"""One hole in a closed loop: what must not be taken for the face, and what hands on the electrode change."""

from __future__ import annotations

from controller.core.commands import Output
from controller.core.events import Event, HoleFinished, PromptRaised
from controller.core.requests import Answer, Request
from tests.core.crude import CrudeMachine
from tests.core.given import controller


def made(
    machine: CrudeMachine, low_from: int = 0, low_ticks: int = 0, tip_after_help_mm: float | None = None
) -> list[Event]:
    """The events of a whole job; the gap reads low for some ticks of the first approach, as in a drop-out.

    At a prompt the operator frees the electrode, and leaves it standing out `tip_after_help_mm` when that is given.
    """
    core, events, asked = controller(), list[Event](), tuple[Request, ...]()
    approached = 0
    for _ in range(30_000):
        seen = machine.observe()
        approached += core.phase.value == "approach" and not seen.contact_open
        if low_from < approached <= low_from + low_ticks:
            seen.samples = [5] * 10
            approached += core.phase.value != "approach"
        out = core.tick(seen, asked)
        machine.carry_out(out.commands)
        events += out.events
        asked = ()
        for event in out.events:
            if isinstance(event, PromptRaised):
                machine.free()
                if tip_after_help_mm is not None:
                    machine.tip_um = tip_after_help_mm * 1000.0
                asked = (Answer(event.prompt, event.choices[0]),)
        if core.ended is not None:
            break
    assert machine.on == dict.fromkeys(Output, False)
    return events


def depths(events: list[Event]) -> list[float]:
    return [event.depth_mm for event in events if isinstance(event, HoleFinished)]


def test_a_drop_out_on_the_way_down_is_not_the_face() -> None:
    """The gap reads low for 0.3 s in free air, before any spark: depth is counted from the face all the same."""
    plain, dropped = depths(made(CrudeMachine())), depths(made(CrudeMachine(), low_from=30, low_ticks=30))
    assert [abs(a - b) < 0.05 for a, b in zip(plain, dropped, strict=True)] == [True, True]


def test_a_shorter_electrode_after_help_starts_lower() -> None:
    """Changed by hand it stands out a millimetre less: measured again, its depth still counts from the same face.

    Both holes get through, and the one that was helped is no deeper than the same hole without.
    """
    events = made(CrudeMachine(stuck_at=400.0), tip_after_help_mm=43.3)
    assert [event.topic for event in events if isinstance(event, PromptRaised)] == ["electrode-stuck"]
    assert [event.outcome for event in events if isinstance(event, HoleFinished)] == ["through", "through"]
    assert abs(depths(events)[0] - depths(made(CrudeMachine()))[0]) < 0.2
