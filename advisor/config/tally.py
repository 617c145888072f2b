"""Joint lengths from a tally file: feet, one a line from the top down; what follows a # is left out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from advisor.config.faults import Report, shown

LEAST_FT, MOST_FT = 1.0, 60.0


def joints_ft(
    folder: Path, name: str, report: Report, report_line: Callable[[str], None]
) -> tuple[float, ...] | None:
    """The joint lengths in a file of that folder, ft; None where there are faults, all of them reported."""
    try:
        text = (folder / name).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        why = fault.strerror if isinstance(fault, OSError) else "not UTF-8"
        report("joint_tally_file", f"is {shown(name)}, which cannot be read ({why}); must be a text file")
        return None
    lengths: list[float] = []
    bad = 0
    for number, line in enumerate(text.splitlines(), start=1):
        cell = line.partition("#")[0].strip()
        if not cell:
            continue
        length = _length(cell)
        if length is None:
            bad += 1
            must = f"must be the length of one joint, {LEAST_FT:g} to {MOST_FT:g} ft"
            report_line(f"{name} line {number}: is {shown(cell)}; {must}")
        else:
            lengths.append(length)
    if not lengths and not bad:
        report("joint_tally_file", f"is {shown(name)}, which holds no joint; must hold a length in ft on each line")
    return tuple(lengths) if lengths and not bad else None


def _length(cell: str) -> float | None:
    try:
        length = float(cell)
    except ValueError:
        return None
    return length if LEAST_FT <= length <= MOST_FT else None
