"""The example configuration: it loads, names every key, and its defaults are the defaults."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path

from advisor.config import capabilities
from advisor.config.keys import Key
from advisor.config.load import load_config, parse_config
from advisor.config.sections import SECTIONS
from advisor.config.wells import WELL
from tests.config.files import well

EXAMPLE = Path(__file__).resolve().parents[2] / "config.example.toml"


def every_key(keys: Mapping[str, Key]) -> Iterator[str]:
    for key in keys.values():
        yield key.name
        yield from every_key(key.of or {})


def test_the_example_loads_and_lacks_nothing() -> None:
    config = load_config(EXAMPLE)
    assert set(config.wells) == {"north/7", "south/2"}
    assert capabilities.missing(config) == []


def test_the_example_names_every_key_with_a_value() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    known = {*every_key(WELL), "wells_from", *(name for keys in SECTIONS.values() for name in every_key(keys))}
    unnamed = [
        name for name in sorted(known) if not re.search(rf"(^|[\s{{]){name} = |^\[well\.{name}\]", text, re.MULTILINE)
    ]
    assert unnamed == []
    for section in SECTIONS:
        assert f"[{section}]" in text


def test_what_the_example_calls_a_default_is_one(tmp_path: Path) -> None:
    bare = parse_config(well(), EXAMPLE.parent)
    config = load_config(EXAMPLE)
    assert (config.store, config.web, config.clock, config.base) == (bare.store, bare.web, bare.clock, bare.base)
    assert (config.sweep, config.approval, config.advice) == (bare.sweep, bare.approval, bare.advice)
    assert config.retention == bare.retention
    assert (config.broker.host, config.broker.port, config.broker.root, config.broker.name) == (
        bare.broker.host,
        bare.broker.port,
        bare.broker.root,
        bare.broker.name,
    )
    given, absent = config.wells["north/7"], bare.wells["north/7"]
    for name in (
        "level_every_h",
        "casing_pressure_every_min",
        "run_every_min",
        "shots_per_day",
        "least_liquid_height_ft",
    ):
        assert getattr(given, name) == getattr(absent, name), name
    assert (given.shot_inlet_ft_md, given.drive.step_spm) == (absent.shot_inlet_ft_md, absent.drive.step_spm)


def test_the_commented_keys_of_the_example_are_accepted(tmp_path: Path) -> None:
    text = re.sub(r"^# (\w+ = )", r"\1", EXAMPLE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert text.count("wells_from = ") == 1
    for name in ("ca.pem", "advisor.pem", "advisor.key"):
        (tmp_path / name).write_text("a certificate")
    (tmp_path / "broker.password").write_text("secret\n")
    (tmp_path / "north-7.tally").write_text("31.6\n" * 161)
    (tmp_path / "wells.csv").write_text("site,name\n")
    config = parse_config(text, tmp_path)
    assert config.broker.tls_ca == str(tmp_path / "ca.pem") and config.broker.password == "secret"


def test_the_example_carries_its_cautions_and_calls_nothing_harmless() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    for caution in (
        "not a safety system",
        "lock out, tag out",
        "smell is no",
        "raises rod stress",
        "bleed before opening",
    ):
        assert caution in text
    assert "safe to" not in text.lower()
