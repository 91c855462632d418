"""The screen of a run in a browser: on this computer only, unless told otherwise; and never without the token.

A port can be reached by everybody on a computer, so the token is asked for on this one, too. From another computer the
run can be looked at and held, and nothing else: what is asked there starts nothing.
"""

from __future__ import annotations

import ipaddress
import secrets
import shlex
import socket
import sys
from pathlib import Path
from typing import Any, Final

import aiohttp_jinja2
from aiohttp import web
from textual_serve.server import Server

# What the token is called in the address and in the cookie.
TOKEN: Final = "token"  # noqa: S105 (a name)
PAGES: Final = Path(__file__).parent / "page"
FONT_SIZE: Final = 16


def on_loopback(host: str) -> bool:
    """Whether nobody but this computer can reach a host's address. Raises OSError when there is no such host."""
    found = {each[4][0] for each in socket.getaddrinfo(host, None)}
    return all(ipaddress.ip_address(str(address).partition("%")[0]).is_loopback for address in found)


class BrowserServer(Server):
    """Serves the screen of one run.

    Args:
        run: Folder of the run.
        host, port: Where.

    Attributes:
        address: What to open in a browser.
    """

    def __init__(self, run: Path, host: str, port: int) -> None:
        self._token = secrets.token_urlsafe(24)
        afar = [] if on_loopback(host) else ["--from-afar"]
        command = shlex.join([sys.executable, "-m", "controller.start", "watch", str(run), *afar])
        super().__init__(command, host, port, title=f"gapwright {run.name}", templates_path=PAGES)
        shown = f"[{host}]" if ":" in host else host
        self.address = f"http://{shown}:{port}/?{TOKEN}={self._token}"

    async def _make_app(self) -> web.Application:
        app = await super()._make_app()
        app.middlewares.append(self._let_in)
        return app

    def initialize_logging(self) -> None:
        """Leave the terminal alone: what there is to say is said by the command."""

    async def on_startup(self, app: web.Application) -> None:
        """The same."""

    @aiohttp_jinja2.template("app_index.html")
    async def handle_index(self, request: web.Request) -> dict[str, Any]:
        """The page; it finds its way back to where it was loaded from."""
        router = request.app.router
        return {
            "font_size": FONT_SIZE,
            "app_websocket_url": f"ws://{request.host}{router['websocket'].url_for()}",
            "config": {"static": {"url": str(router["static"].url_for(filename="/")).rstrip("/") + "/"}},
            "application": {"name": self.title},
        }

    @web.middleware
    async def _let_in(self, request: web.Request, handler: Any) -> web.StreamResponse:
        """Only with the token: from the address once, then from a cookie that no other page can send along."""
        if self._is_token(request.query.get(TOKEN, "")):
            found = web.HTTPFound("/")
            found.set_cookie(TOKEN, self._token, httponly=True, samesite="Strict")
            raise found
        if not self._is_token(request.cookies.get(TOKEN, "")):
            raise web.HTTPForbidden(text="Open the address that `gapwright watch --browser` has printed.")
        response: web.StreamResponse = await handler(request)
        return response

    def _is_token(self, given: str) -> bool:
        return secrets.compare_digest(given.encode(), self._token.encode())
