"""The surface drive: its settings, which releases it can take, and its cycle of running and resting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sim_site.scenario import Drive

MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What a unit is set to; idle_min 0 is no rest."""

    stroke_rate_spm: float
    run_min: float = 60.0
    idle_min: float = 0.0

    def phase_ms(self, running: bool) -> int | None:
        """How long a phase lasts, ms; None for one that never ends."""
        if self.idle_min <= 0.0:
            return None
        return round((self.run_min if running else self.idle_min) * MINUTE_MS)


def first_setting(drive: Drive) -> Setting:
    """What the unit is set to when the scenario starts."""
    rests = drive.kind == "timer"
    return Setting(
        stroke_rate_spm=drive.stroke_rate_spm,
        run_min=float(drive.run_min),
        idle_min=float(drive.idle_min) if rests else 0.0,
    )


def released_setting(drive: Drive, now: Setting, release: Mapping[str, object]) -> Setting | str:
    """The setting a release asks for, or why this drive cannot take it."""
    if drive.kind == "fixed":
        return "drive: fixed; a change needs other sheaves and a crew, it cannot be set"
    if drive.kind == "variable-speed":
        rate = as_number(release.get("stroke_rate_spm"))
        least, most = drive.stroke_rate_min_spm, drive.stroke_rate_max_spm
        if rate is None or not least <= rate <= most:
            given = release.get("stroke_rate_spm")
            return f"stroke_rate_spm: {given!r}; this drive takes {least:g} to {most:g} strokes a minute"
        return Setting(stroke_rate_spm=rate, run_min=now.run_min, idle_min=now.idle_min)
    run, idle = as_number(release.get("run_min")), as_number(release.get("idle_min"))
    if idle is None or (idle != 0.0 and not drive.least_idle_min <= idle <= drive.most_idle_min):
        return (
            f"idle_min: {release.get('idle_min')!r}; this timer takes 0 or {drive.least_idle_min} to "
            f"{drive.most_idle_min} minutes"
        )
    if idle == 0.0:
        return Setting(stroke_rate_spm=now.stroke_rate_spm, run_min=run or now.run_min, idle_min=0.0)
    if run is None or not drive.least_run_min <= run <= 1440.0:
        return f"run_min: {release.get('run_min')!r}; this timer takes {drive.least_run_min} to 1440 minutes"
    return Setting(stroke_rate_spm=now.stroke_rate_spm, run_min=run, idle_min=idle)


def as_number(value: object) -> float | None:
    """The value as a number, or None where it is none."""
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def setting_fields(drive: Drive, setting: Setting, rate_name: str) -> dict[str, float]:
    """The settings in force as messages write them; `rate_name` differs between run readings and confirms."""
    if drive.kind != "timer":
        return {rate_name: setting.stroke_rate_spm}
    if setting.idle_min <= 0.0:
        return {"idle_min": 0.0}
    return {"run_min": setting.run_min, "idle_min": setting.idle_min}
