"""What waits to be told: the newest of each retained topic, and holes in the order they were finished.

Nothing here waits for a broker. What is out of date is replaced; of too many holes the oldest are dropped.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable
from typing import Final

from controller.bus.picture import RunPicture
from controller.core.events import ElectrodeAdvanced, ElectrodeMeasured, Event, HoleFinished
from controller.core.snapshot import Snapshot
from controller.mqtt import payloads
from controller.mqtt.payloads import Payload

# Holes kept while no broker is there. Chosen: a long job's worth, some hundred kilobytes.
HOLES_MOST: Final = 1000
# The state is told this often (s of wall time). Chosen.
STATE_S: Final = 1.0


class Outbox:
    """What waits to be told of one run.

    Args:
        picture: The run.
        now_s: A clock (s).
    """

    def __init__(self, picture: RunPicture, now_s: Callable[[], float]) -> None:
        self._picture, self._now_s = picture, now_s
        self._newest: dict[str, Payload] = {}
        self._holes: deque[Payload] = deque(maxlen=HOLES_MOST)
        self._state_s = -STATE_S
        self._some = asyncio.Event()
        self._alarm = payloads.alarm(picture)
        self.renew()

    def renew(self) -> None:
        """Everything is to be told again: the broker may have forgotten."""
        self._put("state", payloads.state(self._picture))
        self._put("job", payloads.job(self._picture))
        self._put("electrode", payloads.electrode(self._picture))
        self._put("alarm", payloads.alarm(self._picture))

    def take(self, told: Event | Snapshot) -> None:
        """Take what the run has told."""
        now_s = self._now_s()
        if isinstance(told, Snapshot):
            if now_s - self._state_s >= STATE_S:
                self._state_s = now_s
                self._put("state", payloads.state(self._picture))
            return
        if isinstance(told, HoleFinished):
            self._holes.append(payloads.hole(told))
            self._put("job", payloads.job(self._picture))
        if isinstance(told, HoleFinished | ElectrodeMeasured | ElectrodeAdvanced):
            self._put("electrode", payloads.electrode(self._picture))
        alarm = payloads.alarm(self._picture)
        if alarm != self._alarm:
            self._alarm = alarm
            self._put("alarm", alarm)

    def end(self) -> None:
        """The run is over."""
        self._put("job", payloads.job(self._picture))
        self._put("alarm", payloads.alarm(self._picture))
        self._put("state", payloads.OFFLINE)

    async def next(self) -> tuple[str, Payload]:
        """The next to be told; it stays until `done`."""
        await self._some.wait()
        if self._holes:
            return "hole", self._holes[0]
        return next(iter(self._newest.items()))

    def done(self, topic: str, payload: Payload) -> None:
        """It was told; what came instead of it meanwhile stays."""
        if topic == "hole":
            if self._holes and self._holes[0] is payload:
                self._holes.popleft()
        elif self._newest.get(topic) is payload:
            del self._newest[topic]
        if not (self._holes or self._newest):
            self._some.clear()

    @property
    def empty(self) -> bool:
        """Nothing waits."""
        return not (self._holes or self._newest)

    def _put(self, topic: str, payload: Payload | None) -> None:
        if payload is None:
            return
        self._newest.pop(topic, None)
        self._newest[topic] = payload
        self._some.set()
