"""The surface drive: its settings, which releases it can take, and its cycle of running and resting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sim_site.scenario import Drive

MINUTE_MS = 60_000
LONGEST_RUN_MIN = 1440


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What a unit is set to; idle_min 0 is no rest."""

    stroke_rate_spm: float
    run_min: float = 60.0
    idle_min: float = 0.0

    @property
    def mean_spm(self) -> float:
        """Strokes a minute, rests counted in."""
        if self.idle_min <= 0.0:
            return self.stroke_rate_spm
        return self.stroke_rate_spm * (self.run_min / (self.run_min + self.idle_min))

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
    if drive.kind == "fixed" and drive.crew_d <= 0.0:
        return "drive: fixed; a change needs other sheaves and a crew, it cannot be set"
    if drive.kind in ("fixed", "variable-speed"):
        return released_rate(drive, now, release)
    return released_rest(drive, now, release)


def released_rate(drive: Drive, now: Setting, release: Mapping[str, object]) -> Setting | str:
    """Another stroke rate; these drives do not rest."""
    rate, idle = as_number(release.get("stroke_rate_spm")), release.get("idle_min", 0.0)
    least, most = drive.stroke_rate_min_spm, drive.stroke_rate_max_spm
    if rate is None or not least <= rate <= most:
        given = release.get("stroke_rate_spm")
        return f"stroke_rate_spm: {given!r}; this drive takes {least:g} to {most:g} strokes a minute"
    if as_number(idle) != 0.0:
        return f"idle_min: {idle!r}; this drive does not rest, it must be 0 or left out"
    return Setting(stroke_rate_spm=rate, run_min=now.run_min)


def released_rest(drive: Drive, now: Setting, release: Mapping[str, object]) -> Setting | str:
    """Other run and idle minutes; the stroke rate of these units is fixed."""
    run, idle = as_number(release.get("run_min")), as_number(release.get("idle_min"))
    rate = release.get("stroke_rate_spm", now.stroke_rate_spm)
    if as_number(rate) != now.stroke_rate_spm:
        return f"stroke_rate_spm: {rate!r}; this unit has a timer and runs at {now.stroke_rate_spm:g} only"
    least, most = drive.least_idle_min, drive.most_idle_min
    if idle is None or (idle != 0.0 and not least <= idle <= most):
        return f"idle_min: {release.get('idle_min')!r}; this timer takes 0 or {least} to {most} minutes"
    if idle == 0.0:
        return Setting(stroke_rate_spm=now.stroke_rate_spm, run_min=now.run_min)
    if run is None or not drive.least_run_min <= run <= LONGEST_RUN_MIN:
        given = release.get("run_min")
        return f"run_min: {given!r}; this timer takes {drive.least_run_min} to {LONGEST_RUN_MIN} minutes"
    return Setting(stroke_rate_spm=now.stroke_rate_spm, run_min=run, idle_min=idle)


def as_number(value: object) -> float | None:
    """The value as a number, or None where it is none."""
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def setting_fields(drive: Drive, setting: Setting, rate_name: str) -> dict[str, float]:
    """The settings in force as messages write them; run readings and confirms name the stroke rate differently."""
    if drive.kind != "timer":
        return {rate_name: setting.stroke_rate_spm}
    if setting.idle_min <= 0.0:
        return {"idle_min": 0.0}
    return {"run_min": setting.run_min, "idle_min": setting.idle_min}
