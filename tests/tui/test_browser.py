"""The screen in a browser: who is let in, and with what rights."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

import pytest
from aiohttp.test_utils import TestClient, TestServer

from tui.browser import TOKEN, BrowserServer, on_loopback

ANYWHERE = "0.0.0.0"  # noqa: S104 (nothing is bound)


@pytest.mark.parametrize(
    ("host", "near"),
    [("127.0.0.1", True), ("::1", True), ("localhost", True), (ANYWHERE, False), ("192.0.2.7", False)],
)
def test_what_is_near_and_what_is_afar(host: str, near: bool) -> None:
    assert on_loopback(host) is near


def test_from_another_computer_the_screen_has_fewer_rights() -> None:
    assert "--from-afar" not in BrowserServer(Path("run"), "127.0.0.1", 1).command
    assert BrowserServer(Path("a run; rm x"), ANYWHERE, 1).command.endswith("watch 'a run; rm x' --from-afar")


async def test_nobody_is_let_in_without_the_token() -> None:
    server = BrowserServer(Path("run"), "127.0.0.1", 1)
    async with TestClient(TestServer(await server._make_app())) as client:
        for path in ("/", "/ws", "/static/js/textual.js", f"/?{TOKEN}=guess", "/download/x"):
            refused = await client.get(path)
            assert refused.status == 403, path
            assert "watch --browser" in await refused.text()


async def test_with_the_token_once_the_page_opens_and_loads_nothing_from_elsewhere() -> None:
    server = BrowserServer(Path("run"), "127.0.0.1", 1)
    async with TestClient(TestServer(await server._make_app())) as client:
        first = await client.get(f"/?{urlsplit(server.address).query}", allow_redirects=False)
        assert (first.status, first.headers["Location"]) == (302, "/")
        cookie = first.cookies[TOKEN]
        assert (cookie["httponly"], cookie["samesite"]) == (True, "Strict")
        page = await client.get("/")
        text = await page.text()
        assert page.status == 200
        assert "https://" not in text
        assert f"ws://{page.request_info.url.host}:{page.request_info.url.port}/ws" in text
        assert (await client.get("/static/js/textual.js")).status == 200
