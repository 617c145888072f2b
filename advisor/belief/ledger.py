"""A day of a well in one row: what its level did, what the unit did, what else was read.

What went wrong shows in rows of days rather than in single shots: an error of depth that is in every shot alike
cancels in the difference of two days, noise averages, and the balance of a day is known to a barrel or so. The level
also swings within a cycle of run and rest: that says what the pump takes and what drains back, whatever comes in.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np

from advisor.belief.ensemble import Array
from advisor.well import Segment

DAY_MS = 86_400_000
EDGE_D = 0.125  # shots so near to the turn of the day give the level there
STARVES_PERHAPS = 0.05  # chance of a pump that starves, from which the days before are kept
ROWS = 26
WELL_ENOUGH = 0.8  # that nothing lies behind the days
LEAST_SHOTS = 4
LEAST_FOR_SWING = 8
OUTLIER_SD, TRIMMINGS = 3.0, 4
LEAST_NOISE_FT = 4.0
LEAST_SWING_D = 1e-4  # spread of the rests about their mean, below which the level's swing is not seen
SPIKE_PSI, SPIKE_FRAC, SPIKE_SD = 6.0, 0.06, 5.0  # a casing pressure over the day's middle one: a slug of gas passes
# of the casing pressure, and how much of it comes between two readings
STEP_PSI, STEP_SD, STEP_AT_ONCE = 4.0, 4.0, 0.7
STEP_READINGS = 3
LOWEST = "the level is about its lowest on most days, and the pump may starve"
RAISED_TO_FT = 100.0  # (our choice)
MEASURED_DAYS = 3  # joint echoes or an echo of known depth so lately: depths are not off by much
OFF_SHOTS, MOST_OFF_FT = 8.0, 100.0  # of how many shots it is the mean, and how far one may be from it
BEGINS_ANEW = frozenset({"pump-changed", "workover", "treatment", "rods-parted"})


class Shot(msgspec.Struct, frozen=True, array_like=True):
    """A level, and the days idle and running and the strokes (each in days, and days x strokes a minute) until it."""

    at_d: float
    height_ft: float
    idle_d: float
    run_d: float
    strokes: float


class Row(msgspec.Struct, frozen=True, array_like=True):
    """A day (days since 1970). Heights of liquid, ft; swing: the level's fall running plus its rise idle, ft/d."""

    day: int
    height_ft: float
    begin_ft: float
    end_ft: float
    edge_sd_ft: float  # of end less begin
    swing_ft_per_d: float | None
    swing_sd_ft_per_d: float | None
    idle_frac: float
    run_frac: float
    strokes_spm: float  # over the whole day, rests in it
    casing_psia: float
    spikes: int
    step_psi: float
    gas_mscfd: float | None
    test_bpd: float | None
    fillage_frac: float | None


class Causes(msgspec.Struct, frozen=True, kw_only=True):
    """Probabilities, together at most 1, of what lies behind a change; none given where too little is known."""

    chance: dict[str, float] = {}
    size: dict[str, float] = {}  # the likeliest, as a share
    gas_ratio: float | None = None  # annular gas of the last days over that of the first
    slugs: float = 0.0
    gauge: float = 0.0
    starves: float = 0.0  # that the pump takes so much more than comes in that its barrel is part filled
    reason: str | None = None  # why nothing is told


class Ledger(msgspec.Struct, frozen=True):
    """The rows so far and the day that is open."""

    rows: tuple[Row, ...] = ()
    day: int | None = None
    shots: tuple[Shot, ...] = ()
    idle_d: float = 0.0
    run_d: float = 0.0
    strokes: float = 0.0
    casing_psia: tuple[float, ...] = ()
    gas_mscfd: tuple[float, ...] = ()
    test_bpd: float | None = None
    fillages: tuple[float, int] = (0.0, 0)
    disturbed_day: int | None = None  # the valve stood shut, or the unit for no known reason: no day like others
    shot_value: float | None = None  # as it was read, and how often in a row while the casing gauge moved
    same: int = 0
    gauge_moves: int | None = None  # moves of that gauge by then; None without one
    off_ft: float | None = None  # what lately was believed of the height, less what the shots read
    measured_day: int | None = None  # of the last depth that joint echoes or a known reflector measured
    reference: tuple[float, ...] = ()  # the well as it was believed to be when nothing was wrong, and the one after
    following: tuple[float, ...] = ()
    gas_before: float | None = None  # annular gas while nothing was wrong
    renewed_day: int | None = None
    contradicted: int = 0  # days in a row that say all is well while the shots say that nothing is lifted
    stopped_day: int | None = None  # since when days and shots agree that nothing is lifted; None: they do not
    causes: Causes = Causes()


class News(msgspec.Struct, frozen=True, kw_only=True):
    """What one moment brought; None for what it did not."""

    at_ms: int
    segments: Sequence[Segment]
    height_ft: float | None = None
    shot_value: float | None = None
    gauge_moves: int | None = None  # how often the casing gauge has moved by the shot; None without one
    casing_psia: float | None = None
    gas_mscfd: float | None = None
    test_bpd: float | None = None
    fillage_frac: float | None = None
    measured_at_ms: int | None = None  # when joint echoes or a known reflector last measured a depth
    disturbed: bool = False
    events: tuple[str, ...] = ()


def again(ledger: Ledger, value: float, gauge_moves: int | None) -> int:
    """How often in a row a value was read with this one; 1 for a new one.

    Not counted where the casing gauge has not moved since the shot before either: of a quiet well both stand still.
    """
    if value != ledger.shot_value:
        return 1
    quiet = gauge_moves is not None and gauge_moves == ledger.gauge_moves
    return ledger.same if quiet else ledger.same + 1


def noted(ledger: Ledger, news: News) -> Ledger:
    """The ledger with one more moment in it; a day is closed by the first moment 3 h into the next."""
    if BEGINS_ANEW.intersection(news.events):
        ledger = Ledger(
            shot_value=ledger.shot_value, same=ledger.same, gauge_moves=ledger.gauge_moves, off_ft=ledger.off_ft
        )
    at_d = news.at_ms / DAY_MS
    if ledger.day is None:
        ledger = msgspec.structs.replace(ledger, day=int(at_d) + 1)
    idle_d, run_d, strokes = ledger.idle_d, ledger.run_d, ledger.strokes
    for piece in news.segments:
        days = (piece.end_ms - piece.start_ms) / DAY_MS
        if piece.running:
            run_d, strokes = run_d + days, strokes + days * piece.stroke_rate_spm
        elif piece.running is not None:
            idle_d += days
    ledger = _closed(msgspec.structs.replace(ledger, idle_d=idle_d, run_d=run_d, strokes=strokes), at_d)
    day = int(at_d)
    shots, same, value, moves = ledger.shots, ledger.same, ledger.shot_value, ledger.gauge_moves
    if news.height_ft is not None:
        shots = (*shots, Shot(at_d, round(news.height_ft, 1), idle_d, run_d, strokes))
    if news.shot_value is not None:
        same, value, moves = again(ledger, news.shot_value, news.gauge_moves), news.shot_value, news.gauge_moves
    fillages = ledger.fillages
    if news.fillage_frac is not None:
        fillages = (fillages[0] + news.fillage_frac, fillages[1] + 1)
    return msgspec.structs.replace(
        ledger,
        shots=shots,
        same=same,
        shot_value=value,
        gauge_moves=moves,
        casing_psia=_with(ledger.casing_psia, news.casing_psia),
        gas_mscfd=_with(ledger.gas_mscfd, news.gas_mscfd),
        test_bpd=ledger.test_bpd if news.test_bpd is None else news.test_bpd,
        fillages=fillages,
        disturbed_day=day if news.disturbed else ledger.disturbed_day,
        measured_day=None if news.measured_at_ms is None else news.measured_at_ms // DAY_MS,
    )


def believed(ledger: Ledger, read_ft: float, height_ft: float) -> Ledger:
    """The ledger with how far a level was believed to stand from where its shot read it."""
    off_ft = height_ft - read_ft
    if ledger.off_ft is not None:
        move_ft = min(max(off_ft - ledger.off_ft, -MOST_OFF_FT), MOST_OFF_FT)
        off_ft = ledger.off_ft + move_ft / OFF_SHOTS
    return msgspec.structs.replace(ledger, off_ft=round(off_ft, 1))


def measured(ledger: Ledger) -> bool:
    """Whether joint echoes or a known reflector lately measured a depth: all depths are then known."""
    if ledger.measured_day is None or not ledger.rows:
        return False
    return ledger.rows[-1].day - ledger.measured_day <= MEASURED_DAYS


def as_believed(ledger: Ledger) -> tuple[Row, ...]:
    """The rows with their levels where they are now believed to have stood: one error of depth is in them all.

    But where no depth was measured, levels are raised only until the lowest day stands at RAISED_TO_FT: of a pump
    that starves unnoticed the belief may be wrong by any height, and days that read low are what tells.
    """
    by = ledger.off_ft or 0.0
    if by > 0.0 and ledger.rows and not measured(ledger):
        by = min(by, max(RAISED_TO_FT - min(row.height_ft for row in ledger.rows), 0.0))
    return tuple(
        msgspec.structs.replace(row, height_ft=row.height_ft + by, begin_ft=row.begin_ft + by, end_ft=row.end_ft + by)
        for row in ledger.rows
    )


def _with(values: tuple[float, ...], value: float | None) -> tuple[float, ...]:
    return values if value is None else (*values, round(value, 2))


def _closed(ledger: Ledger, at_d: float) -> Ledger:
    """The day's row written where it is over; what its successor needs of it is kept."""
    day = ledger.day
    assert day is not None
    if at_d < day + 1 + EDGE_D:
        return ledger
    row = _row(ledger, day)
    following = max(day + 1, int(at_d - EDGE_D))
    rows = _kept((*ledger.rows, row), ledger.causes) if row is not None else ledger.rows
    kept = 2 * STEP_READINGS if following == day + 1 and not _disturbed(ledger, day) else 0
    return msgspec.structs.replace(
        ledger,
        rows=rows,
        day=following,
        shots=tuple(shot for shot in ledger.shots if shot.at_d >= following - EDGE_D),
        casing_psia=ledger.casing_psia[-kept:] if kept else (),
        gas_mscfd=(),
        test_bpd=None,
        fillages=(0.0, 0),
    )


def _kept(rows: tuple[Row, ...], causes: Causes) -> tuple[Row, ...]:
    """ROWS of them: the newest, but where something is suspected the oldest too, which tell of the time before."""
    if len(rows) <= ROWS:
        return rows
    if causes.chance.get("none", 1.0) >= WELL_ENOUGH and causes.starves < STARVES_PERHAPS:
        return rows[-ROWS:]
    return (*rows[: ROWS // 2], *rows[ROWS // 2 + len(rows) - ROWS :])


def _disturbed(ledger: Ledger, day: int) -> bool:
    return ledger.disturbed_day is not None and day - 1 <= ledger.disturbed_day <= day + 1


def _row(ledger: Ledger, day: int) -> Row | None:
    """None where the day says nothing: too few shots, or no day like others."""
    if _disturbed(ledger, day):
        return None
    shots = np.array([(s.at_d, s.height_ft, s.idle_d, s.run_d, s.strokes) for s in ledger.shots]).reshape(-1, 5)
    own = shots[(shots[:, 0] >= day) & (shots[:, 0] < day + 1)]
    if len(own) < LEAST_SHOTS or not ledger.casing_psia:
        return None
    begin, end = (_edge(shots, turn) for turn in (day, day + 1))
    if begin is None or end is None or own[-1, 0] - own[0, 0] < 0.5:
        return None
    height, noise, swing, swing_sd = _fitted(own)
    span_d = float(own[-1, 0] - own[0, 0])
    idle, run, strokes = (float(own[-1, k] - own[0, k]) / span_d for k in (2, 3, 4))
    casing = np.array(ledger.casing_psia)
    middle = float(np.median(casing))
    gas = float(np.median(ledger.gas_mscfd)) if ledger.gas_mscfd else None
    return Row(
        day=day,
        height_ft=round(height, 1),
        begin_ft=round(begin[0], 1),
        end_ft=round(end[0], 1),
        edge_sd_ft=round(1.25 * noise * (1.0 / begin[1] + 1.0 / end[1]) ** 0.5, 1),
        swing_ft_per_d=None if swing is None else round(swing),
        swing_sd_ft_per_d=None if swing_sd is None else round(swing_sd),
        idle_frac=round(idle, 4),
        run_frac=round(run, 4),
        strokes_spm=round(strokes, 3),
        casing_psia=round(middle, 1),
        spikes=_spikes(casing),
        step_psi=round(_step(casing), 1),
        gas_mscfd=None if gas is None else round(gas, 2),
        test_bpd=ledger.test_bpd,
        fillage_frac=round(ledger.fillages[0] / ledger.fillages[1], 3) if ledger.fillages[1] else None,
    )


def _edge(shots: Array, turn_d: float) -> tuple[float, int] | None:
    """The level at the turn of a day, and of how many shots it is the middle one."""
    near = shots[np.abs(shots[:, 0] - turn_d) < EDGE_D, 1]
    return (float(np.median(near)), len(near)) if len(near) else None


def _fitted(own: Array) -> tuple[float, float, float | None, float | None]:
    """Mean height and noise of a shot, ft, and the swing with its standard deviation, ft/d (None: not to be seen).

    A curve through the day plus the saw of run and rest, by least squares; shots far off it are left out.
    """
    at = own[:, 0] - own[:, 0].mean()
    idle = own[:, 2] - own[0, 2]
    saw = idle - (own[:, 0] - own[0, 0]) * idle[-1] / (own[-1, 0] - own[0, 0])
    swings = len(own) >= LEAST_FOR_SWING and float(saw.std()) > LEAST_SWING_D
    parts = np.stack([np.ones_like(at), at, at * at, saw] if swings else [np.ones_like(at), at], axis=1)
    kept = np.ones(len(own), dtype=bool)
    found, off = np.zeros(parts.shape[1]), own[:, 1]
    for _ in range(TRIMMINGS):
        found = np.linalg.lstsq(parts[kept], own[kept, 1], rcond=None)[0]
        off = own[:, 1] - parts @ found
        limit = OUTLIER_SD * max(1.4826 * float(np.median(np.abs(off[kept]))), LEAST_NOISE_FT)
        now = np.abs(off) < limit
        if now.sum() < parts.shape[1] + 2 or bool((now == kept).all()):
            break
        kept = now
    # rests that do not differ from shot to shot but as the curve does tell nothing of the swing
    swings = swings and _apart(saw[kept], parts[kept, :-1]) > LEAST_SWING_D
    free = max(int(kept.sum()) - parts.shape[1], 1)
    variance = max(float(off[kept] @ off[kept]) / free, LEAST_NOISE_FT**2)
    height = float(own[kept, 1].mean())
    if not swings:
        return height, variance**0.5, None, None
    spread = variance * np.linalg.pinv(parts[kept].T @ parts[kept])
    return height, variance**0.5, float(found[3]), float(np.sqrt(spread[3, 3]))


def _apart(values: Array, others: Array) -> float:
    """Spread of values (n,) about the best fit by the columns of others (n, k)."""
    return float(np.std(values - others @ np.linalg.lstsq(others, values, rcond=None)[0]))


def _spikes(casing: Array) -> int:
    """Casing pressures that stand out over those before and those after."""
    limit = max(SPIKE_PSI, SPIKE_FRAC * float(np.median(casing)), SPIKE_SD * _scatter(casing))
    found = 0
    for i in range(1, len(casing) - 1):
        beside = max(
            np.median(casing[max(i - STEP_READINGS, 0) : i]), np.median(casing[i + 1 : i + 1 + STEP_READINGS])
        )
        found += bool(casing[i] > beside + limit)
    return found


def _scatter(values: Array) -> float:
    """Standard deviation, by the median of what values are off their middle."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _step(casing: Array) -> float:
    """The greatest lasting step of the casing pressure that comes at once, psi; 0 for none."""
    found = 0.0
    for i in range(STEP_READINGS, len(casing) - STEP_READINGS + 1):
        step = float(np.median(casing[i : i + STEP_READINGS]) - np.median(casing[i - STEP_READINGS : i]))
        at_once = float(casing[i] - casing[i - 1])
        lasts = float(np.median(casing[i:]) - np.median(casing[:i]))
        usual = max(_scatter(casing[:i]), _scatter(casing[i:]))
        clear = min(abs(step), abs(lasts)) >= max(STEP_PSI, STEP_SD * usual)
        if clear and at_once / step >= STEP_AT_ONCE and abs(step) > abs(found):
            found = step
    return found
