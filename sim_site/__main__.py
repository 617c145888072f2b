"""`sim-site`: the simulated sites alone, against any broker."""

from __future__ import annotations

import argparse
import signal
import sys
from collections.abc import Sequence
from dataclasses import replace
from types import FrameType

from sim_site.fleet import random_scenario
from sim_site.gateway import Gateway, GatewayError
from sim_site.link import LinkError
from sim_site.measures import DAY_S, rfc3339
from sim_site.scenario import Scenario, load_scenario, shipped
from sim_site.site import Site
from sim_site.tables import ScenarioError
from sim_site.usage import Line
from sim_site.well_file import advisor_config

ALONE_MIN_PER_S = 60.0  # when nobody said how fast
WELLS_MOST = 2000


def parser() -> argparse.ArgumentParser:
    """The command line."""
    line = Line(prog="sim-site", description="Invented wells that send readings to a broker.")
    which = line.add_mutually_exclusive_group()
    which.add_argument(
        "--config", metavar="FILE", default="demo", help=f"scenario file, or one of {', '.join(shipped())}"
    )
    which.add_argument("--wells", type=int, metavar="N", help="instead of a file: N random wells of this seed")
    line.add_argument("--days", type=float, metavar="N", help="end after N simulated days (default: until stopped)")
    line.add_argument("--seed", type=int, metavar="N", help="another seed than the scenario's")
    line.add_argument("--broker", metavar="HOST[:PORT]", help="another broker than the scenario's")
    line.add_argument(
        "--alone", action="store_true", help=f"wait for no advisor: {ALONE_MIN_PER_S:g} simulated minutes a second"
    )
    line.add_argument(
        "--advisor-config", action="store_true", help="print the advisor's configuration for these wells, and end"
    )
    return line


def main(arguments: Sequence[str] | None = None) -> int:
    """Run; 0 after a clean end, 2 for a fault, which goes to standard error, one a line."""
    given = parser().parse_args(arguments)
    try:
        scenario = chosen(given)
        if given.days is not None and not 0.0 < given.days <= 3650.0:
            raise ScenarioError([f"--days: {given.days:g}; it must be over 0 and at most 3650"])
        if given.advisor_config:
            print(advisor_config(scenario))
            return 0
        run(scenario, given.seed, None if given.days is None else max(round(given.days * DAY_S / 60.0), 1))
    except (ScenarioError, LinkError, GatewayError) as error:
        print(error, file=sys.stderr)
        return 2
    return 0


def chosen(given: argparse.Namespace) -> Scenario:
    """The scenario that the command line asks for; ScenarioError where it cannot be had."""
    if given.wells is None:
        scenario = load_scenario(given.config)
    elif 1 <= given.wells <= WELLS_MOST:
        scenario = random_scenario(given.wells, given.seed if given.seed is not None else 1)
    else:
        raise ScenarioError([f"--wells: {given.wells}; it must be from 1 to {WELLS_MOST}"])
    if given.broker is not None:
        host, _, port = given.broker.partition(":")
        if not host or not (port == "" or (port.isdecimal() and 1 <= int(port) <= 65535)):
            raise ScenarioError([f"--broker: {given.broker!r}; it must be HOST or HOST:PORT"])
        reach = replace(scenario.broker, host=host, port=int(port) if port else scenario.broker.port)
        scenario = replace(scenario, broker=reach)
    if given.alone:
        speed = scenario.site.speed if scenario.site.speed > 0.0 else ALONE_MIN_PER_S
        scenario = replace(scenario, site=replace(scenario.site, wait_for_advisor=False, speed=speed))
    return scenario


def run(scenario: Scenario, seed: int | None, minutes: int | None) -> None:
    """Run the scenario on its broker until it ends or a signal comes, then say what came of it."""
    site = Site(scenario, seed)
    gateway = Gateway(site, tell=lambda line: print(line, file=sys.stderr, flush=True))

    def stop(signum: int, frame: FrameType | None) -> None:
        gateway.stop()

    before = {each: signal.signal(each, stop) for each in (signal.SIGINT, signal.SIGTERM)}
    try:
        broker = scenario.broker
        print(f"{len(site.wells)} wells of {scenario.name} on {broker.host}:{broker.port}", flush=True)
        gateway.run(minutes=minutes)
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
    print(f"until {rfc3339(site.now_ms)}: {gateway.sent} readings sent, {gateway.releases} releases received")
    for key, truth in site.truth(with_best=False).items():
        share = truth.pounding_min / truth.running_min if truth.running_min > 0.0 else 0.0
        print(f"{key}: {truth.liquid_bbl:.0f} bbl, pounding {share:.0%} of {truth.running_min / 60.0:.0f} h running")


if __name__ == "__main__":
    sys.exit(main())
