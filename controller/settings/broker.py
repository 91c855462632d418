"""The broker file: where a run is told over MQTT, and how to get in. Nothing is told anywhere without one."""

from __future__ import annotations

from pydantic import Field

from controller.settings.base import Settings


class Broker(Settings):
    """An MQTT broker (MQTT 3.1.1, OASIS standard).

    User and password may stand in the environment instead (`GAPWRIGHT_MQTT_USER`, `GAPWRIGHT_MQTT_PASSWORD`), which
    comes first. `ca_file` is the authority that has signed the broker's certificate, for one that systems don't know.
    """

    host: str = Field(min_length=1)
    port: int = Field(1883, ge=1, le=65535)
    tls: bool = False
    ca_file: str = ""
    user: str = ""
    password: str = ""
    topic: str = Field("gapwright", pattern=r"^[^+#\s/][^+#\s]*[^+#\s/]$|^[^+#\s/]$")
    take_hold: bool = False
