"""`gapwright publish`: a run that goes on, told over MQTT."""

from __future__ import annotations

import asyncio
import os
import stat
from pathlib import Path
from time import monotonic, sleep
from typing import Annotated, Final

import typer

from controller.bus.listener import Listener, look_at
from controller.bus.place import BusError
from controller.screen import BadUsage, err
from controller.settings.broker import Broker
from controller.settings.load import Problem, SettingsError, load_overlay

USER, PASSWORD = "GAPWRIGHT_MQTT_USER", "GAPWRIGHT_MQTT_PASSWORD"
LOOK_S: Final = 0.2

BrokerFile = Annotated[Path, typer.Option("--broker", metavar="FILE", help="The broker file.", show_default=False)]


def publish(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of the run.")],
    broker: BrokerFile,
    wait_s: Annotated[float, typer.Option("--wait", min=0.0, help="Wait so long (s) for the run to begin.")] = 0.0,
) -> None:
    """Tell a run that goes on over MQTT, until it is over."""
    given = load_broker(broker)
    _wait_for(run, wait_s)
    try:
        asyncio.run(_publish(run, given))
    except KeyboardInterrupt:
        raise typer.Exit(0) from None


def load_broker(path: Path) -> Broker:
    """The broker of a file, user and password of the environment laid over it.

    Raises:
        SettingsError: With every mistake; a file with a password that everybody may read is one.
    """
    broker = load_overlay(path, None, Broker)
    if broker.password and path.stat().st_mode & stat.S_IROTH:
        words = f"everybody may read this file; `chmod o-r {path}`, or put the password into {PASSWORD}"
        raise SettingsError([Problem(str(path), "password", words)])
    if broker.tls and broker.ca_file and not Path(broker.ca_file).is_file():
        words = (
            f"there is no such file; leave it out for a broker whose authority is known; you wrote {broker.ca_file!r}"
        )
        raise SettingsError([Problem(str(path), "ca_file", words)])
    laid_over = {"user": os.environ.get(USER, broker.user), "password": os.environ.get(PASSWORD, broker.password)}
    return broker.model_copy(update=laid_over)


def _wait_for(run: Path, wait_s: float) -> None:
    until_s = monotonic() + wait_s
    while True:
        try:
            look_at(run)
        except BusError as error:
            if monotonic() >= until_s:
                raise BadUsage(str(error)) from error
            sleep(LOOK_S)
        else:
            return


async def _publish(run: Path, broker: Broker) -> None:
    from controller.mqtt.publisher import Publisher  # noqa: PLC0415 (loads the broker's library)

    def say(words: str) -> None:
        err.print(f"MQTT: {words}", markup=False, highlight=False, soft_wrap=True)

    async with Listener(run) as listener:
        await Publisher(listener, broker, broker.password, say).serve()
