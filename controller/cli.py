"""The command `gapwright`: every subcommand, and what happens to bad input."""

from __future__ import annotations

from typing import Any

import typer
from typer.core import TyperGroup

from controller import (
    commands_answer,
    commands_bench,
    commands_check,
    commands_plan,
    commands_publish,
    commands_record,
    commands_rehearse,
    commands_replay,
    commands_resume,
    commands_run,
    commands_simulate,
    commands_watch,
)
from controller.bus.place import BusError
from controller.host.capture import CaptureError
from controller.plan.build import PlanRefused
from controller.record.journal import JournalError
from controller.record.run_folder import RunFolderError
from controller.screen import BAD_INPUT, BadUsage, err
from controller.settings.load import SettingsError
from controller.workshop import FirstArticleError

# What a person can mend: said in full, without a trace of the program's inside.
MENDABLE = (
    BadUsage,
    BusError,
    CaptureError,
    FirstArticleError,
    JournalError,
    PlanRefused,
    RunFolderError,
    SettingsError,
)


class Commands(TyperGroup):
    """The group of all commands: what a person can mend is told on standard error, with exit code 2."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command that was named; `ctx` is of a class that the command-line library keeps to itself."""
        try:
            return super().invoke(ctx)
        except MENDABLE as refused:
            for line in str(refused).splitlines():
                err.print(line, markup=False, highlight=False, soft_wrap=True)
            raise typer.Exit(BAD_INPUT) from refused


app = typer.Typer(
    cls=Commands,
    name="gapwright",
    help="Drive a home-built spark-erosion machine, and rehearse every job on a virtual one first.",
    epilog="About 64 V beside water can kill: read the cautions of the README before anything is switched on.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
app.command("plan")(commands_plan.plan)
app.command("rehearse")(commands_rehearse.rehearse)
app.command("simulate")(commands_simulate.simulate)
app.command("check")(commands_check.check)
app.command("jog")(commands_bench.jog_command)
app.command("touch")(commands_bench.touch_command)
app.command("measure")(commands_bench.measure_command)
app.command("run")(commands_run.run)
app.command("publish")(commands_publish.publish)
app.command("watch")(commands_watch.watch)
app.command("answer")(commands_answer.answer)
app.command("resume")(commands_resume.resume)
app.command("replay")(commands_replay.repeat)
app.command("gauge")(commands_record.gauge)
app.command("report")(commands_record.report)


def main() -> None:
    """Run the command line."""
    app()


if __name__ == "__main__":
    main()
