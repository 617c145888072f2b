"""``advisor shot``: message and WAV in, sentence, JSON and plot out."""

from __future__ import annotations

import argparse
import base64
import json
import os
import subprocess
import sys
import wave
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from advisor import shot_verb
from tests.invented_wells import config_text
from tests.shots import plain

ROOT = Path(__file__).resolve().parents[2]

FIELDS = {
    "quality",
    "round_trip_s",
    "level_ft_md",
    "acoustic_velocity_fps",
    "probability",
    "joints_counted",
    "joint_reach_frac",
    "reasons",
}


def message(x: np.ndarray, **changes: Any) -> dict[str, Any]:
    trace = plain.trace(x)
    return {
        "at": "2031-03-01T06:00:00Z",
        "sample_hz": trace.sample_hz,
        "samples": base64.b64encode(trace.samples).decode(),
        "pulse": trace.pulse,
        "casing_psig": trace.casing_psig,
    } | changes


def called(tmp_path: Path, file: Path, *, wells: tuple[str, ...] = ("north/7",), **changes: Any) -> int:
    config = tmp_path / "config.toml"
    config.write_text(config_text(*wells), encoding="utf-8")
    values = {"config": str(config), "file": str(file), "well": None, "plot": None, "json": False} | changes
    return shot_verb.run(argparse.Namespace(**values))


def test_a_message_comes_to_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "shot.json"
    file.write_text(json.dumps(message(plain.record())), encoding="utf-8")
    assert called(tmp_path, file, json=True) == 0
    said = json.loads(capsys.readouterr().out)
    assert set(said) >= FIELDS
    assert said["round_trip_s"]["value"] == pytest.approx(5.0, rel=0.01)
    assert set(said["level_ft_md"]) == {"value", "sd", "by"}


def test_a_sentence_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "shot.json"
    file.write_text(json.dumps({"topic": "wells/north/7/reading/trace", "payload": message(plain.record())}), "utf-8")
    assert called(tmp_path, file) == 0
    out = capsys.readouterr().out
    assert out.startswith("north/7: ") and "level at" in out and "±" in out


def test_a_wav_is_read_and_what_it_lacks_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "shot.wav"
    with wave.open(str(file), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(1000)
        sound.writeframes(plain.trace(plain.record()).samples)
    assert called(tmp_path, file, json=True) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["round_trip_s"]["value"] == pytest.approx(5.0, rel=0.01)
    assert any("casing pressure" in note for note in said["notes"])


def test_the_plot_is_grey_has_brackets_and_words(tmp_path: Path) -> None:
    file, plot = tmp_path / "shot.json", tmp_path / "out.svg"
    file.write_text(json.dumps(message(plain.record())), encoding="utf-8")
    assert called(tmp_path, file, plot=str(plot)) == 0
    root = ET.fromstring(plot.read_text(encoding="utf-8"))
    text = " ".join("".join(one.itertext()) for one in root.iter() if one.tag.endswith("text"))
    assert "level" in text and "joints counted" in text
    assert "dB over the noise" in text and "joints were counted, to" in text  # why it is believed
    inks = {one.get(name) for one in root.iter() for name in ("fill", "stroke")} - {None, "none"}
    assert all(ink.startswith("#") and len(set(ink[1:])) == 1 for ink in inks if ink is not None)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"{", "JSON"),
        (json.dumps({"samples": "*"}).encode(), "base64"),
        (json.dumps(message(plain.record(), sample_hz=0.0)).encode(), "sample_hz"),
        (json.dumps({k: v for k, v in message(plain.record()).items() if k != "sample_hz"}).encode(), "sample_hz"),
        (b"RIFF0000WAVEjunk", "WAV"),
        (b"RIFF", "is no WAV file that can be read (it ends too soon); must be PCM"),
    ],
)
def test_what_is_no_trace_is_refused_with_the_reason(
    content: bytes, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "shot.json"
    file.write_bytes(content)
    assert called(tmp_path, file, json=True) == 1
    got = capsys.readouterr()
    assert said in got.err
    assert json.loads(got.out)["quality"] == "bad"


def test_the_well_must_be_said_where_there_are_two(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "shot.json"
    file.write_text(json.dumps(message(plain.record())), encoding="utf-8")
    assert called(tmp_path, file, wells=("north/7", "north/8")) == 2
    assert "--well" in capsys.readouterr().err
    assert called(tmp_path, file, wells=("north/7", "north/8"), well="north/8") == 0
    assert called(tmp_path, tmp_path / "none.json") == 2


def test_a_file_that_names_another_well_is_not_passed_off_as_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Worked up with the pipe of the one well configured, and said so: its depth is not that of the well named."""
    file = tmp_path / "shot.json"
    for name, told in (("7", False), ("99", True)):
        topic = f"wells/north/{name}/reading/trace"
        file.write_text(json.dumps({"topic": topic, "payload": message(plain.record())}), "utf-8")
        for asked in (None, "north/7"):
            assert called(tmp_path, file, well=asked, json=True) == 0
            notes = json.loads(capsys.readouterr().out)["notes"]
            assert any("the file names north/99" in note and "north/7" in note for note in notes) is told


@pytest.mark.parametrize("name", [b"a\x01b.json", b"s\xfcd.json"], ids=["control character", "not UTF-8"])
def test_a_file_of_any_name_can_be_plotted(tmp_path: Path, name: bytes) -> None:
    """XML 1.0, 2.2: most control characters may not stand in a document at all."""
    file, plot = tmp_path / os.fsdecode(name), tmp_path / "out.svg"
    file.write_text(json.dumps(message(plain.record())), encoding="utf-8")
    assert called(tmp_path, file, plot=str(plot)) == 0
    assert ET.fromstring(plot.read_text(encoding="utf-8")) is not None


def test_output_into_a_pipe_that_closes_ends_without_a_word(tmp_path: Path) -> None:
    file, config = tmp_path / "shot.json", tmp_path / "config.toml"
    file.write_text(json.dumps(message(plain.record())), encoding="utf-8")
    config.write_text(config_text("north/7"), encoding="utf-8")
    command = f"{sys.executable} -m advisor shot {file} --config {config} | true"
    done = subprocess.run(["/bin/bash", "-c", command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.stderr == ""
