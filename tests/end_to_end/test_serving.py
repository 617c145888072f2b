"""The daemon as a process of its own, on a real broker: readings in, retained assessments and status out."""

from __future__ import annotations

import json
import signal
import subprocess
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.brokers import RunningBroker, wait_until
from tests.end_to_end.running import STATUS, Daemon, Field, needed, retained
from tests.invented_wells import START, build_up, hours, level, message, running

WELL = "north/7"


def _from_a_shell(broker: RunningBroker, topic: str, fields: dict[str, object]) -> None:
    done = subprocess.run(
        [
            needed("mosquitto_pub", "mosquitto-clients"),
            *("-h", broker.host, "-p", str(broker.port_v311), "-q", "1", "-t", topic, "-m", json.dumps(fields)),
        ],
        capture_output=True,
        text=True,
        timeout=20.0,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_one_level_sent_from_a_shell_leads_to_a_retained_assessment(broker: RunningBroker, tmp_path: Path) -> None:
    """By hand, as for the library: 6.000 s there and back at 1246.4 ft/s are 3739 ft."""
    with Daemon(tmp_path / "a", broker.port, WELL, clock="system") as daemon, Field(broker) as field:
        field.hears(STATUS, state="online")
        at = datetime.now(UTC).isoformat()
        _from_a_shell(
            broker, f"wells/{WELL}/reading/level", {"at": at, "round_trip_s": 6.0, "casing_psig": 85.0, "id": "x"}
        )
        field.hears(f"wells/{WELL}/assessment", site="north", well="7")
        said = retained(broker.port, f"wells/{WELL}/assessment")
        level_ft_md = said["level_ft_md"]
        assert level_ft_md["by"] == "gas"
        assert 0.0 < level_ft_md["sd"] < 200.0
        assert level_ft_md["value"] == pytest.approx(3739.0, abs=level_ft_md["sd"])
        assert said["casing_psig"]["value"] == pytest.approx(85.0)
        assert said["inputs"]["level"] == "good"
        assert daemon.stop() == 0
        assert field.faults() == []


def test_a_refused_message_is_answered_and_the_next_is_served(broker: RunningBroker, tmp_path: Path) -> None:
    with Daemon(tmp_path / "a", broker.port, WELL) as daemon, Field(broker) as field:
        field.hears(STATUS, state="online")
        field.tell(
            [
                message(WELL, "level", START, round_trip_s=6.0, joint_reach=0.9, id="wrong"),
                ("wells/north/7/reading/level", b"\xff{", START),
                message("north/9", "level", START, round_trip_s=6.0, id="nobody"),
                level(WELL, START, casing_psig=85.0),
            ]
        )
        field.settles(START)
        answer = field.hears("wells/north/7/refused", id="wrong")
        assert answer["topic"] == "wells/north/7/reading/level"
        assert "joint_reach: is not a field of level" in answer["error"]
        assert "joint_reach_frac" in answer["error"]
        assert field.hears("wells/north/7/refused", id=None)["payload_head"]
        assert "north/9 is not a configured well" in field.hears("wells/north/9/refused", id="nobody")["error"]
        assert field.newest("wells/north/7/assessment")["level_ft_md"]["value"] == pytest.approx(3739.0, rel=0.01)
        wait_until(lambda: field.newest(STATUS)["refused"] == 3, "three refused in the status")
        assert field.newest(STATUS)["readings"] == 1
        assert daemon.stop() == 0
        assert field.faults() == []


def test_status_tells_birth_progress_a_clean_end_and_a_sudden_one(broker: RunningBroker, tmp_path: Path) -> None:
    with Daemon(tmp_path / "a", broker.port, WELL) as daemon, Field(broker) as field:
        birth = field.hears(STATUS, state="online")
        assert (birth["now"], birth["settled_through"], birth["wells"]) == (None, None, 1)
        assert retained(broker.port, STATUS)["state"] == "online"
        for n in range(3):
            at = START + hours(n)
            field.tell([running(WELL, at), level(WELL, at, casing_psig=85.0)])
            field.settles(at)
        moved = [one["settled_through"] for one in field.published(STATUS) if one["settled_through"]]
        assert moved == sorted(moved)
        assert field.newest(STATUS)["settled_through"] == "2031-03-01T08:00:00Z"
        assert field.newest(STATUS)["now"] == "2031-03-01T08:00:00Z"
        assert daemon.stop() == 0
        assert field.hears(STATUS, state="offline")["readings"] == 6
        assert retained(broker.port, STATUS)["state"] == "offline"

        field.heard.clear()
        daemon.start()
        back = field.hears(STATUS, state="online")
        assert back["now"] == "2031-03-01T08:00:00Z"
        field.settles(START + hours(2))
        daemon.kill()
        field.hears(STATUS, state="offline")
        assert retained(broker.port, STATUS)["state"] == "offline"
        assert field.faults() == []


def test_ctrl_c_is_as_clean_an_end_as_a_stop(broker: RunningBroker, tmp_path: Path) -> None:
    with Daemon(tmp_path / "a", broker.port, WELL) as daemon, Field(broker) as field:
        field.hears(STATUS, state="online")
        field.tell([build_up(WELL, START)])
        assert daemon.stop(signal.SIGINT) == 0
        assert field.hears(STATUS, state="offline")
        assert "Traceback" not in daemon.said


def test_what_was_worked_out_is_published_before_the_status_says_that_it_is_settled(
    broker: RunningBroker, tmp_path: Path
) -> None:
    with Daemon(tmp_path / "a", broker.port, WELL) as daemon, Field(broker) as field:
        field.hears(STATUS, state="online")
        for n in range(8):
            at = START + hours(n)
            field.tell([running(WELL, at), level(WELL, at, round_trip_s=6.0 + 0.01 * (n % 3), casing_psig=85.0)])
            field.settles(at)
        assert daemon.stop() == 0
        believed = ""
        for topic, payload, _, _ in list(field.heard):
            if topic == f"wells/{WELL}/assessment":
                believed = json.loads(payload)["at"]
            if topic == STATUS and (through := json.loads(payload)["settled_through"]):
                assert believed >= through
        assert believed == "2031-03-01T13:00:00Z"
