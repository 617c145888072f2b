"""``advisor shot FILE``: one recorded trace worked up offline, in a sentence, as JSON, or as a plot."""

from __future__ import annotations

import argparse
import json
import sys
import wave
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from advisor import shots
from advisor.config.load import load_config
from advisor.config.sections import Config
from advisor.model import Quantity, Refusal, Trace
from advisor.physics.ranges import Array
from advisor.plots import trace as plot
from advisor.shots.shot import Shot
from advisor.well import Well
from advisor.wire import decode, incoming
from advisor.wire.values import cleaned

DONE, REFUSED, FAULT = 0, 1, 2
GUESSED_CASING_PSIG = 50.0
ANY_TIME = "2000-01-01T00:00:00Z"


class Unreadable(ValueError):  # noqa: N818 - says what the file is
    """A file that holds no trace: 'where: what it is; what it must be', one a line."""


@dataclass(frozen=True, slots=True)
class Held:
    """A file's trace, and what had to be guessed."""

    trace: Trace
    notes: tuple[str, ...] = ()


def run(args: argparse.Namespace) -> int:
    """Works up args.file for args.well, with args.plot and args.json; exit 0, 1 for a file refused, 2 for a fault.

    Optional for a WAV: args.casing_psig and args.pulse. ConfigFaults of the configuration are the caller's.
    """
    config = load_config(args.config)
    path = Path(args.file)
    try:
        data = path.read_bytes()
    except OSError as fault:
        return _fault(f"{path}: cannot be read ({fault.strerror}); must be a WAV file or a reading/trace message")
    named = _named(config, data)
    well = _well(config, args.well, named)
    if isinstance(well, str):
        return _fault(well)
    try:
        if data[:4] == b"RIFF":
            held = from_wav(path, casing_psig=_given(args, "casing_psig"), pulse=_given(args, "pulse"))
        else:
            held = from_message(data, well=well, config=config, file=path.name)
    except Unreadable as fault:
        return _refused(str(fault), machine=args.json)
    notes = held.notes
    if named not in (None, well.key):
        notes += (f"the file names {named}; the pipe, the gas and the joints are taken from {well.key}",)
    shot = shots.analyse(held.trace, well, expectation=None, atmospheric_psia=config.base.atmospheric_psia)
    if args.plot:
        title = f"{well.key}, {cleaned(path.name, 80)}"
        whole = " ".join(filter(None, (sentence(shot), believed(shot))))
        try:
            Path(args.plot).write_text(plot.svg(held.trace, shot, title=title, sentence=whole), "utf-8")
        except OSError as fault:
            return _fault(f"{args.plot}: cannot be written ({fault.strerror}); must be a place for an SVG file")
    if args.json:
        print(json.dumps(as_json(shot, notes), ensure_ascii=False, indent=1))
        return DONE
    print(f"{well.key}: {sentence(shot)}")
    for line in filter(None, (believed(shot), *details(shot), *notes)):
        print(f"  {line}")
    return DONE


def sentence(shot: Shot) -> str:
    """What a technician would want to hear, in one sentence."""
    if shot.level_ft_md is None or shot.round_trip_s is None:
        return f"No level: {'; '.join(shot.reasons)}."
    level, time_s = shot.level_ft_md, shot.round_trip_s.value
    found = f"level at {level.value:,.0f} ± {level.sd:,.0f} ft by {level.by}, echo after {time_s:.3f} s"
    sure = f"right within {shot.within_ft:,.0f} ft with probability {shot.probability:.2f}"
    if shot.quality == "good":
        return f"Good: {found}; {sure}."
    if shot.quality == "uncertain":
        return f"Uncertain: {found}; {sure}; {shot.reasons[0]}."
    return f"Bad, not to be trusted: {shot.reasons[0]}; the likeliest is a {found}."


def believed(shot: Shot) -> str:
    """What speaks for the level, in one sentence; nothing for a bad shot."""
    if shot.quality == "bad" or shot.round_trip_s is None:
        return ""
    out = []
    if shot.signal_to_noise_db is not None:
        out.append(f"the echo stands {shot.signal_to_noise_db:.0f} dB over the noise")
    if shot.quality == "good" and not any(one.what == "other" for one in shot.echoes):
        out.append("no other echo could be the level's")
    out += [f"it comes once more at {one.time_s:.3f} s" for one in shot.echoes if one.what == "multiple"][:1]
    if shot.joints_counted and shot.joint_reach_frac:
        out.append(f"{shot.joints_counted} joints were counted, to {shot.joint_reach_frac:.2f} of the way")
    known = [one for one in shot.echoes if one.what == "reflector"]
    if known and shot.by_reflector_ft_md is not None:
        out.append(f"{known[-1].name} echoes where it is on file")
    opening = "Believed because" if shot.quality == "good" else "What speaks for it:"
    return f"{opening} {', '.join(out)}." if out else ""


def details(shot: Shot) -> list[str]:
    """The lines below the sentence."""
    out = []
    for name, one in (
        ("joints", shot.by_joints_ft_md),
        ("reflector", shot.by_reflector_ft_md),
        ("gas properties", shot.by_gas_ft_md),
    ):
        if one is not None:
            out.append(f"depth by {name}: {one.value:,.0f} ± {one.sd:,.0f} ft")
    velocity = shot.acoustic_velocity_fps
    if velocity is not None:
        out.append(f"velocity {velocity.value:,.0f} ± {velocity.sd:,.0f} ft/s, {shot.joints_counted} joints counted")
    return [*out, *shot.reasons[1:], *shot.notes]


def as_json(shot: Shot, more: tuple[str, ...] = ()) -> dict[str, Any]:
    """The shot as the verb prints it."""
    return {
        "quality": shot.quality,
        "probability": round(shot.probability, 4),
        "round_trip_s": _quantity(shot.round_trip_s, 4),
        "level_ft_md": _quantity(shot.level_ft_md, 1),
        "acoustic_velocity_fps": _quantity(shot.acoustic_velocity_fps, 1),
        "joints_counted": shot.joints_counted,
        "joint_reach_frac": None if shot.joint_reach_frac is None else round(shot.joint_reach_frac, 3),
        "signal_to_noise_db": None if shot.signal_to_noise_db is None else round(shot.signal_to_noise_db, 1),
        "depths_ft_md": {
            "joints": _quantity(shot.by_joints_ft_md, 1),
            "reflector": _quantity(shot.by_reflector_ft_md, 1),
            "gas": _quantity(shot.by_gas_ft_md, 1),
        },
        "echoes": [{"time_s": round(one.time_s, 4), "what": one.name or one.what} for one in shot.echoes],
        "reasons": list(shot.reasons),
        "notes": [*shot.notes, *more],
    }


def from_message(data: bytes, *, well: Well, config: Config, file: str) -> Held:
    """The trace of a reading/trace message, bare or as {"topic", "payload"}; its time may be left out."""
    try:
        message = decode.decode(data)
    except decode.PayloadFault as fault:
        raise Unreadable(f"{file}: {fault}") from None
    inner = message.get("payload", message)
    if not isinstance(inner, dict):
        raise Unreadable(f"{file}: payload is no object; must be a reading/trace message")
    reading = incoming.parse(
        f"{config.broker.root}/{well.site}/{well.name}/reading/trace",
        json.dumps({"at": ANY_TIME, **inner}).encode(),
        received_at_ms=0,
        root=config.broker.root,
        wells={well.key: well},
        sites=(well.site,),
        atmospheric_psia=config.base.atmospheric_psia,
    )
    if isinstance(reading, Refusal):
        raise Unreadable("\n".join(f"{file}: {one}" for one in reading.error.split(" | ")))
    if reading is None or not isinstance(reading.measured, Trace):
        raise Unreadable(f"{file}: is not a trace; must be a reading/trace message")
    return Held(reading.measured)


def from_wav(path: Path, *, casing_psig: float | None, pulse: str | None) -> Held:
    """The first channel of a WAV file, 8 to 32 bits; what a WAV does not hold is given or guessed."""
    try:
        with wave.open(str(path)) as sound:
            width, hz, channels = sound.getsampwidth(), sound.getframerate(), sound.getnchannels()
            data = sound.readframes(sound.getnframes())
    except (wave.Error, EOFError) as fault:
        why = str(fault) or "it ends too soon"
        raise Unreadable(f"{path.name}: is no WAV file that can be read ({why}); must be PCM") from None
    samples = _sixteen_bits(data, width)[::channels]
    notes = []
    if casing_psig is None:
        casing_psig = GUESSED_CASING_PSIG
        notes.append(f"a WAV file holds no casing pressure: {casing_psig:g} psig taken")
    if pulse is None:
        quick = samples - np.median(samples)
        loud = np.flatnonzero(np.abs(quick) > 0.5 * np.max(np.abs(quick), initial=1.0))
        pulse = "compression" if not len(loud) or quick[loud[0]] > 0 else "rarefaction"
        notes.append(f"a WAV file does not say the pulse: {pulse} taken from the first excursion")
    trace = Trace(
        sample_hz=float(hz), samples=samples.astype("<i2").tobytes(), pulse=pulse, casing_psig=float(casing_psig)
    )
    return Held(trace, tuple(notes))


def _sixteen_bits(data: bytes, width: int) -> Array:
    """Samples of 1 to 4 bytes as numbers in the range of 16 bits."""
    if width == 1:
        return (np.frombuffer(data, dtype=np.uint8).astype(np.float64) - 128.0) * 256.0
    data = data[: len(data) // width * width]
    parts = np.frombuffer(data, dtype=np.uint8).reshape(-1, width)
    high = parts[:, -2].astype(np.int64) | (parts[:, -1].astype(np.int64) << 8)
    return np.where(high >= 32768, high - 65536, high).astype(np.float64)


def _named(config: Config, data: bytes) -> str | None:
    """The well a {"topic", "payload"} file names."""
    if data[:4] == b"RIFF":
        return None
    try:
        topic = decode.decode(data).get("topic")
    except decode.PayloadFault:
        return None
    if not isinstance(topic, str) or not topic.startswith(f"{config.broker.root}/"):
        return None
    return "/".join(topic[len(config.broker.root) + 1 :].split("/")[:2])


def _well(config: Config, asked: str | None, named: str | None) -> Well | str:
    """The well meant, or the fault in words."""
    if asked is None and named in config.wells:
        asked = named
    if asked is None and len(config.wells) == 1:
        return next(iter(config.wells.values()))
    if asked is None:
        return f"--well: is missing; must be one of {', '.join(sorted(config.wells))}"
    if asked not in config.wells:
        return f"--well: {asked} is not configured; must be one of {', '.join(sorted(config.wells))}"
    return config.wells[asked]


def _given(args: argparse.Namespace, name: str) -> Any:
    return getattr(args, name, None)


def _quantity(one: Quantity | None, digits: int) -> dict[str, Any] | None:
    if one is None:
        return None
    out: dict[str, Any] = {"value": round(one.value, digits), "sd": round(one.sd, digits)}
    return out | {"by": one.by} if one.by is not None else out


def _fault(line: str) -> int:
    print(line, file=sys.stderr)
    return FAULT


def _refused(lines: str, *, machine: bool) -> int:
    print(lines, file=sys.stderr)
    if machine:
        bad = Shot(quality="bad", probability=0.0, reasons=tuple(lines.splitlines()))
        print(json.dumps(as_json(bad), ensure_ascii=False, indent=1))
    return REFUSED
