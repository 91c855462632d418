"""The loop's line to its herald: one way for what is told, the other for what people ask."""

from __future__ import annotations

import socket

from controller.host.inlet import Inlet
from controller.host.outlet import Outlet


class Line:
    """Both ways over one connected socket.

    Attributes:
        outlet: What is to be told.
        inlet: What people asked for.
    """

    __slots__ = ("inlet", "outlet")

    def __init__(self, connected: socket.socket) -> None:
        self.outlet = Outlet(connected)
        self.inlet = Inlet(connected)
