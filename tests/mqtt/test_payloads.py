from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.commands_publish import load_broker
from controller.mqtt.outbox import HOLES_MOST, Outbox
from controller.mqtt.payloads import TOPICS, alarm, schema
from controller.settings.load import SettingsError
from tests.mqtt.test_publisher import finished
from tests.tui import pictures

DOCS = Path(__file__).resolve().parents[2] / "docs"


def test_the_documented_schema_is_that_of_the_program() -> None:
    """After a change: python -c 'from controller.mqtt.payloads import schema; print(schema(), end="")'."""
    assert (DOCS / "mqtt.schema.json").read_text(encoding="utf-8") == schema()


def test_every_topic_and_every_field_is_documented() -> None:
    text = (DOCS / "mqtt.md").read_text(encoding="utf-8")
    for topic, shape in TOPICS.items():
        assert f"`{topic}`" in text
        for name in shape.model_fields:
            assert f"`{name}`" in text


def test_a_prompt_is_an_alarm_before_a_fault() -> None:
    assert alarm(pictures.eroding()).kind == "none"
    assert alarm(pictures.waiting(pictures.ADVANCE)).kind == "prompt"
    assert alarm(pictures.broken()).kind == "fault"


async def test_of_too_many_holes_the_oldest_are_dropped() -> None:
    outbox = Outbox(pictures.eroding(), lambda: 0.0)
    for number in range(HOLES_MOST + 5):
        outbox.take(finished(number))
    topic, payload = await outbox.next()
    assert (topic, payload.model_dump()["hole"]) == ("hole", 5)


async def test_what_came_while_it_was_told_is_told_next() -> None:
    outbox = Outbox(pictures.eroding(), lambda: 0.0)
    topic, payload = await outbox.next()
    outbox.renew()
    outbox.done(topic, payload)
    left = set()
    while not outbox.empty:
        topic, payload = await outbox.next()
        left.add(topic)
        outbox.done(topic, payload)
    assert left == {"state", "job", "electrode", "alarm"}


def broker_file(folder: Path, text: str, mode: int = 0o600) -> Path:
    path = folder / "broker.toml"
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    return path


def test_a_password_that_everybody_may_read_is_refused(tmp_path: Path) -> None:
    text = 'host = "broker"\nuser = "maker"\npassword = "x"\n'
    assert load_broker(broker_file(tmp_path, text)).password == "x"  # noqa: S105
    with pytest.raises(SettingsError, match="everybody may read"):
        load_broker(broker_file(tmp_path, text, 0o644))


def test_the_environment_comes_before_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(os.environ, "GAPWRIGHT_MQTT_PASSWORD", "y")
    monkeypatch.setitem(os.environ, "GAPWRIGHT_MQTT_USER", "other")
    broker = load_broker(broker_file(tmp_path, 'host = "broker"\n', 0o644))
    assert (broker.user, broker.password) == ("other", "y")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "host"),
        ('host = "b"\nport = 70000\n', "port"),
        ('host = "b"\ntopic = "a/#"\n', "topic"),
        ('host = "b"\ntls = true\nca_file = "/nowhere.pem"\n', "ca_file"),
        ('host = "b"\nspeed = 3\n', "speed"),
    ],
)
def test_a_broken_broker_file_is_named_with_its_key(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(SettingsError, match=words):
        load_broker(broker_file(tmp_path, text))
