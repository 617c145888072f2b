"""``advisor check``: configuration, wells, rules and their checks; no broker, no network."""

from __future__ import annotations

import json
import sys

from advisor import words
from advisor.config import capabilities, doubts
from advisor.config.load import load_config
from advisor.rulebook import timeline
from advisor.rulebook.load import deadband_faults, load_rules, shipped_folder

DONE, FAULT = 0, 2


def run(config_file: str, *, as_json: bool) -> int:
    """0 when everything holds; faults raise and become lines; failed rule checks are printed, with status 2."""
    config = load_config(config_file)
    rules = load_rules(shipped_folder())
    failures = [line for rule in rules.rules for line in timeline.run(rule, rules.checks[rule.id])]
    failures += deadband_faults(rules, list(config.wells.values()))
    missing = capabilities.missing(config)
    doubtful = doubts.doubts(config)
    if as_json:
        json.dump(
            {
                "wells": len(config.wells),
                "rules": len(rules.rules),
                "failures": failures,
                "missing": missing,
                "doubtful": doubtful,
            },
            sys.stdout,
            ensure_ascii=False,
            indent=1,
        )
        print()
    else:
        wells = words.counted(len(config.wells), "well")
        sites = words.counted(len({well.site for well in config.wells.values()}), "site")
        print(f"{config_file}: {wells} on {sites}; {len(rules.rules)} rules, their checks run")
        for line in missing:
            print(f"  {line}")
        for line in doubtful:
            print(f"  doubtful: {line}")
    for line in failures:
        print(line, file=sys.stderr)
    return FAULT if failures else DONE
