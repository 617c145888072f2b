"""What can be wrong around the daemon: one clear line, the right exit status, and nothing stored is harmed."""

from __future__ import annotations

import hashlib
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import pytest

from advisor.store.store import Store
from tests.brokers import Iotcore, free_port, wait_until
from tests.end_to_end.running import PATIENCE_S, ROOT, STATUS, Daemon, Field, advisor, environment
from tests.end_to_end.streams import history, stream
from tests.invented_wells import START, config_text, hours, level, running

WELL = "north/7"
LINE = re.compile(r"[^:]+(:\d+)?: .+; .+")  # where: what it is; what it must be

# The command line as a user without special rights; what it imports is read before, as nobody may read everything.
AS_SOMEBODY = """
import os, sys
import sqlite_utils
from advisor import cli, service
if os.geteuid() == 0:
    os.setgroups([]); os.setgid(65534); os.setuid(65534)
sys.exit(cli.main(sys.argv[1:]))
"""


def _refused_to_start(daemon: Daemon) -> str:
    """The one line with which a daemon ends at once, status 2."""
    assert daemon.start().process.wait(PATIENCE_S) == 2
    lines = [line for line in daemon.said.splitlines() if not re.match(r"20\d\d-", line)]
    assert len(lines) == 1, daemon.said
    assert LINE.fullmatch(lines[0]), lines[0]
    return lines[0]


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.fixture
def kept(tmp_path: Path) -> Daemon:
    """A daemon that is not running, with a store that holds a reading."""
    daemon = Daemon(tmp_path / "a", free_port(), WELL)
    from advisor.config.load import load_config
    from advisor.core import Advisor

    one = Advisor(load_config(daemon.config))
    one.receive([level(WELL, START, casing_psig=85.0)])
    one.advance(START)
    one.close()
    return daemon


# --------------------------------------------------------------------------- the broker


def test_a_broker_that_is_not_there_yet_is_waited_for(tmp_path: Path) -> None:
    broker = Iotcore()
    with Daemon(tmp_path / "a", broker.port, WELL) as daemon:
        daemon.says("mqtt-down")
        [line] = [one for one in daemon.said.splitlines() if "mqtt-down" in one]
        assert f"broker localhost:{broker.port}" in line
        assert "must" in line
        assert daemon.process.poll() is None
        assert daemon.ask("note", WELL, "shut-in", "--at", "2031-03-01T06:00:00Z", "--by", "pat").returncode == 0
        with broker, Field(broker) as field:
            field.hears(STATUS, state="online")
            field.tell([level(WELL, START + hours(1), casing_psig=85.0)])
            field.settles(START + hours(1))
            assert field.newest(f"wells/{WELL}/assessment")["level_ft_md"]
            assert daemon.stop() == 0


def test_a_stop_without_a_broker_is_a_clean_end(tmp_path: Path) -> None:
    with Daemon(tmp_path / "a", free_port(), WELL) as daemon:
        daemon.says("mqtt-down")
        assert daemon.stop() == 0
        assert "Traceback" not in daemon.said


# --------------------------------------------------------------------------- the store


def test_a_store_of_a_newer_version_is_left_alone(kept: Daemon) -> None:
    with closing(sqlite3.connect(kept.store)) as connection:
        connection.execute("PRAGMA user_version=99")
    before = _digest(kept.store)
    line = _refused_to_start(kept)
    assert str(kept.store) in line
    assert "version 99" in line
    assert "newer advisor" in line
    assert _digest(kept.store) == before
    shown = kept.ask("wells")
    assert (shown.returncode, shown.stdout) == (2, "")
    assert "version 99" in shown.stderr


def test_another_programs_database_is_left_alone(kept: Daemon) -> None:
    kept.store.unlink()
    with closing(sqlite3.connect(kept.store)) as connection:
        connection.execute("CREATE TABLE theirs (x)")
    before = _digest(kept.store)
    assert "is a database of another program" in _refused_to_start(kept)
    assert _digest(kept.store) == before


def test_a_file_that_is_no_database_is_left_alone(kept: Daemon) -> None:
    kept.store.write_bytes(b"these are the minutes of the last meeting" * 100)
    before = _digest(kept.store)
    assert "is not a database" in _refused_to_start(kept)
    assert _digest(kept.store) == before


def test_a_store_that_another_daemon_holds_is_left_to_it(tmp_path: Path) -> None:
    with Iotcore() as broker, Daemon(tmp_path / "a", broker.port, WELL) as first, Field(broker) as field:
        field.hears(STATUS, state="online")
        second = Daemon(tmp_path / "b", broker.port, WELL)
        second.config.write_text(first.config.read_text())
        line = _refused_to_start(second)
        assert "in use by another advisor" in line
        assert str(first.store) in line
        field.tell([level(WELL, START, casing_psig=85.0)])
        field.settles(START)
        assert first.stop() == 0


def test_a_store_in_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    daemon = Daemon(tmp_path / "a", free_port(), WELL)
    daemon.config.write_text(config_text(WELL, store=str(tmp_path / "nowhere" / "advisor.db")))
    line = _refused_to_start(daemon)
    assert str(tmp_path / "nowhere") in line
    assert not (tmp_path / "nowhere").exists()


def _as_somebody(*args: str) -> subprocess.CompletedProcess[str]:
    """The advisor's command line as a user who owns nothing here."""
    return subprocess.run(
        [sys.executable, "-c", AS_SOMEBODY, *args],
        cwd=ROOT,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )


def test_a_folder_that_may_not_be_written_is_named() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        daemon = Daemon(folder / "a", free_port(), WELL)
        daemon.config.parent.chmod(0o555)
        done = _as_somebody("run", "--config", str(daemon.config))
        assert done.returncode == 2, done.stderr
        assert done.stderr.count("\n") == 1
        assert LINE.fullmatch(done.stderr.strip())
        assert str(daemon.store) in done.stderr
        daemon.config.parent.chmod(0o755)


def test_a_backup_into_a_closed_folder_is_a_fault_in_words() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        daemon = Daemon(folder / "a", 1, WELL)
        Store(daemon.store).close()
        closed = folder / "closed"
        closed.mkdir(mode=0o000)
        copy = closed / "copy.db"
        done = _as_somebody("backup", str(copy), "--config", str(daemon.config))
        closed.chmod(0o700)
    assert (done.returncode, done.stdout) == (2, "")
    must = "must be a new file in a folder that this user may write to"
    assert done.stderr == f"{copy}: cannot be written (Permission denied); {must}\n"


def test_a_disk_that_runs_full_stops_nothing_for_good_and_loses_nothing(small_disk: Path, tmp_path: Path) -> None:
    """What came while it was full waits at the broker, and is worked through once there is room."""
    told = stream(WELL, hours_long=12)
    undisturbed = Daemon(tmp_path / "undisturbed", 1, WELL)
    with Iotcore() as broker, Daemon(tmp_path / "a", broker.port, WELL) as daemon, Field(broker) as field:
        daemon.kill()
        daemon.store = small_disk / "advisor.db"
        daemon.config.write_text(config_text(WELL, store=str(daemon.store), port=broker.port))
        daemon.start()
        field.hears(STATUS, state="online")
        field.tell(told[:8])
        field.settles(told[7][2])
        ballast = small_disk / "ballast"
        with ballast.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space left"):
            while True:
                file.write(bytes(4096))
        field.tell(told[8:])
        daemon.says("store-busy")
        assert "the disk is full; free some space" in daemon.said
        assert daemon.process.poll() is None
        ballast.unlink()
        daemon.says("recovered")
        field.settles(told[-1][2])
        assert daemon.stop() == 0
        ours = history(daemon.store, [WELL])
    from advisor.config.load import load_config
    from advisor.core import Advisor

    one = Advisor(load_config(undisturbed.config))
    one.receive(told)
    one.advance(START)
    one.close()
    theirs = history(undisturbed.store, [WELL])
    for name in ("readings", "assessments", "advice"):
        assert ours[name] == theirs[name], name


def test_a_disk_that_is_full_at_the_start_is_told(small_disk: Path, tmp_path: Path) -> None:
    with (small_disk / "ballast").open("wb", buffering=0) as file, pytest.raises(OSError, match="No space left"):
        while True:
            file.write(bytes(4096))
    daemon = Daemon(tmp_path / "a", free_port(), WELL)
    daemon.config.write_text(config_text(WELL, store=str(small_disk / "advisor.db")))
    assert "the disk is full; free some space" in _refused_to_start(daemon)


def test_a_disk_that_is_full_when_a_store_is_opened_again_is_told(small_disk: Path, tmp_path: Path) -> None:
    Store(small_disk / "advisor.db").close()
    with (small_disk / "ballast").open("wb", buffering=0) as file, pytest.raises(OSError, match="No space left"):
        while True:
            file.write(bytes(512))
    daemon = Daemon(tmp_path / "a", free_port(), WELL)
    daemon.config.write_text(config_text(WELL, store=str(small_disk / "advisor.db")))
    assert "the disk is full; free some space" in _refused_to_start(daemon)


# --------------------------------------------------------------------------- rules and configuration


def test_a_rules_folder_with_faults_stops_the_start_with_all_of_them(kept: Daemon, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(ROOT / "advisor", copy / "advisor", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "rules", copy / "rules")
    leak_back, stale = copy / "rules" / "leak-back.toml", copy / "rules" / "readings-stale.toml"
    leak_back.write_text(leak_back.read_text().replace("priority", "prioritee", 1))
    stale.write_text("[when\n")
    before = _digest(kept.store)
    for verb in ("run", "check"):
        done = advisor(verb, "--config", str(kept.config), cwd=copy)
        assert (done.returncode, done.stdout) == (2, "")
        lines = [line for line in done.stderr.splitlines() if not re.match(r"20\d\d-", line)]
        assert all(LINE.fullmatch(line) for line in lines), lines
        assert any("leak-back.toml" in line and "prioritee" in line for line in lines)
        assert any("readings-stale.toml" in line for line in lines)
    assert _digest(kept.store) == before


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"\x00\xff\xfe garbage", ["UTF-8"]),
        (b"[broker\nport = 1883", ["is not TOML"]),
        (
            config_text(WELL, more="[advise]\nlapse = 3\n")
            .replace("port = 1883", 'port = "x"\nhosst = "y"')
            .encode(),
            ["broker.port", "broker.hosst", "advise"],
        ),
    ],
    ids=["bytes", "not toml", "several faults"],
)
def test_a_configuration_that_is_wrong_is_refused_with_all_its_faults_one_a_line(
    kept: Daemon, text: bytes, told: list[str]
) -> None:
    before = _digest(kept.store)
    kept.config.write_bytes(text)
    for verb in (("run",), ("check",), ("wells",), ("approve", "a1")):
        done = advisor(*verb, "--config", str(kept.config)) if verb == ("run",) else kept.ask(*verb)
        assert (done.returncode, done.stdout) == (2, ""), verb
        lines = done.stderr.splitlines()
        assert all(LINE.fullmatch(line) for line in lines), lines
        for word in told:
            assert any(word in line for line in lines), (word, lines)
    assert _digest(kept.store) == before


def test_without_a_daemon_requests_are_refused_and_showing_goes_on(kept: Daemon, tmp_path: Path) -> None:
    for verb in (
        ("approve", "a1"),
        ("decline", "a1", "--why", "x"),
        ("defer", "a1", "--for", "1d", "--why", "x"),
        ("undo", "a1"),
        ("acknowledge", WELL, "leak-back"),
        ("shelve", WELL, "leak-back", "--for", "1h", "--why", "x"),
        ("note", WELL, "shut-in"),
    ):
        done = kept.ask(*verb)
        assert (done.returncode, done.stdout) == (1, ""), verb
        assert "no daemon is running" in done.stderr
        assert LINE.fullmatch(done.stderr.strip())
    assert [one["well"] for one in kept.shown("wells")] == [WELL]
    missing = Daemon(tmp_path / "b", 1, WELL)
    done = missing.ask("approve", "a1")
    assert (done.returncode, done.stdout) == (1, "")
    assert "no daemon is running" in done.stderr
    for verb in (("wells",), ("advice",), ("alarms",), ("show", WELL)):
        done = missing.ask(*verb)
        assert (done.returncode, done.stdout) == (2, ""), verb
        assert LINE.fullmatch(done.stderr.strip()), done.stderr
    assert not missing.store.exists()


def test_a_broken_pipe_ends_what_prints_and_never_the_daemon(tmp_path: Path) -> None:
    with Daemon(tmp_path / "a", free_port(), WELL) as daemon:
        daemon.says("mqtt-down")
        status = Path(f"/proc/{daemon.process.pid}/status")
        if not status.exists():
            pytest.skip("only Linux tells which signals a process ignores")
        [ignored] = [line.split()[1] for line in status.read_text().splitlines() if line.startswith("SigIgn")]
        assert int(ignored, 16) & (1 << 12), "SIGPIPE (13) is ignored"  # signal(7): bit 0 is signal 1
        assert daemon.stop() == 0


def test_readings_of_a_well_taken_out_of_the_configuration_stay_in_the_store(tmp_path: Path) -> None:
    with Iotcore() as broker, Daemon(tmp_path / "a", broker.port, WELL, "north/8") as daemon, Field(broker) as field:
        field.hears(STATUS, state="online")
        field.tell([running(WELL, START), running("north/8", START)])
        field.settles(START)
        assert daemon.stop() == 0
        daemon.config.write_text(config_text(WELL, store=str(daemon.store), port=broker.port))
        daemon.start()
        field.tell([running(WELL, START + hours(1)), running("north/8", START + hours(1))])
        field.settles(START + hours(1))
        assert "north/8 is not a configured well" in field.hears("wells/north/8/refused")["error"]
        assert [one["well"] for one in daemon.shown("wells")] == [WELL]
        assert daemon.stop() == 0
    with Store(daemon.store, readonly=True) as store:
        assert store.rows("SELECT well, count(*) FROM readings GROUP BY well") == [(WELL, 2), ("north/8", 1)]
    wait_until(lambda: daemon.process.poll() is not None, "the daemon has ended")
