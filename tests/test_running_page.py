"""docs/running.md is in step with the program: events, metrics, verbs, configuration, files and numbers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from advisor import pulse, service
from advisor.cli import CALLS
from advisor.config.load import parse_config
from advisor.config.sections import Web
from advisor.model import Reading
from advisor.store import refusals, tally
from advisor.store.retention import LEAST_D, Keep
from advisor.store.store import Store
from advisor.web import metrics, vitals
from tests.web.test_health import WELL as VITALS
from tests.wire.messages import parse

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "running.md").read_text(encoding="utf-8")
LOGGED = re.compile(r'log\.(?:info|warning|error|failure|exception)\(\s*f?"([a-z][a-z-]+)')


def _section(title: str) -> str:
    return PAGE.split(f"{title}\n")[1].split("\n## ")[0]


def test_every_event_of_the_log_is_explained_and_no_other() -> None:
    said = {
        event
        for path in (ROOT / "advisor").rglob("*.py")
        for event in LOGGED.findall(path.read_text(encoding="utf-8"))
    }
    said |= {f"mqtt-{state}" for state in ("connected", "down", "stopped")}  # the states of the link
    rows = re.findall(r"^\| (`.+?) \|", _section("## 8. What the log says"), re.MULTILINE)
    told = {event for row in rows for event in re.findall(r"`([a-z-]+)`", row)}
    assert told == said


def test_every_metric_is_named_and_no_other(tmp_path: Path) -> None:
    with Store(tmp_path / "advisor.db") as store:
        families = list(metrics.families(VITALS, tally.taken(store, ())))
    served = {f"{one.name}{ {'counter': '_total', 'info': '_info'}.get(one.kind, '') }" for one in families} | {
        "advisor_settled_through_seconds"
    }
    named = set(re.findall(r"`((?:advisor|process)_\w+)", _section("## 6. Is it well?")))
    assert named == served


def test_every_verb_it_uses_is_one_and_takes_a_configuration() -> None:
    blocks = "\n".join(re.findall(r"```sh\n(.+?)```", PAGE, re.DOTALL))
    used = set(re.findall(r"(?:-u advisor advisor|adv) (\w+)", blocks)) | {"run"}
    assert {"check", "wells", "advice", "approve", "backup"} <= used
    assert used <= set(CALLS)


def test_its_configuration_loads(tmp_path: Path) -> None:
    (tmp_path / "broker.password").write_text("a secret\n")
    (tmp_path / "ca.pem").write_text("stands for a certificate: only its being there is looked at\n")
    [text] = re.findall(r"```toml\n(.+?)```", PAGE, re.DOTALL)
    config = parse_config(text, tmp_path)
    assert (config.broker.port, config.broker.password) == (8883, "a secret")
    assert config.store.path == "/var/lib/advisor/advisor.db"
    assert list(config.wells) == ["north/7"]


def test_the_level_it_sends_by_hand_is_accepted() -> None:
    [(topic, payload)] = re.findall(r"as_north -t (\S+/level) \\\n\s+-m '(\{.+\})'", PAGE)
    text = re.sub(r"'\$\(date -u \+%FT%TZ\)'", "2031-03-01T06:00:00Z", payload)  # as date(1) writes it
    heard = parse("level", text.encode(), topic=topic)
    assert isinstance(heard, Reading), heard


def test_a_week_of_copies_is_kept() -> None:
    """find(1): -mtime +N is met by what is N+1 days old or older, fractions ignored; a day's copy is made before."""
    unit = (ROOT / "docs" / "examples" / "advisor-backup.service").read_text(encoding="utf-8")
    [days] = re.findall(r"-mtime \+(\d+) -delete", unit)
    assert int(days) + 1 == 7
    assert "eight times the room of the store" in PAGE


def test_the_files_it_names_are_there_and_all_examples_are_named() -> None:
    for name in re.findall(r"\]\(([^)#]+)\)", PAGE):
        assert (ROOT / "docs" / name).exists(), name
    for path in (ROOT / "docs" / "examples").iterdir():
        assert path.name in PAGE, path.name


@pytest.mark.parametrize(
    ("words", "number"),
    [
        (r"progress in the last (\d+) s", vitals.STALE_AFTER_S),
        (r"tried again every (\d+) s", service.STORE_RETRY_S),
        (r"refusals after (\d+) days", Keep().refusals_d),
        (r"all of a well's but the newest (\d+)", refusals.KEPT),
        (r"over (\d+) days ahead of the newest", LEAST_D),
        (r"gaps in the running numbers after (\d+) days", Keep().gaps_d),
        (r"127\.0\.0\.1:(\d+)/readyz", Web().port),
    ],
)
def test_its_numbers_are_the_programs(words: str, number: float) -> None:
    found = re.search(words, re.sub(r"\s+", " ", PAGE))
    assert found is not None, words
    assert float(found[1]) == number


def test_the_store_is_written_as_often_as_it_says() -> None:
    assert pulse.BEAT_EVERY_S == 10.0
    assert "at least every ten seconds" in PAGE


def test_it_calls_nothing_harmless() -> None:
    assert not re.search(r"\bsafe to\b", PAGE, re.IGNORECASE)
    assert "lock out, tag out and verify" in re.sub(r"\s+", " ", PAGE)
