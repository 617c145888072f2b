"""A command line whose faults read as those of a scenario: `where: what it is; what it must be`, one a line."""

from __future__ import annotations

import argparse
import re
import sys
from typing import NoReturn

KINDS = {"int": "a whole number", "float": "a number"}


class Line(argparse.ArgumentParser):
    """An argument parser that ends with status 2 and its faults on standard error, without the block of usage."""

    def error(self, message: str) -> NoReturn:
        print(fault(" ".join(message.split())), file=sys.stderr)
        sys.exit(2)


def fault(said: str) -> str:
    """What argparse says of a command line, as a fault."""
    if found := re.fullmatch(r"argument (\S+): invalid (\w+) value: (.*)", said):
        where, kind, value = found.groups()
        return f"{where}: {value}; it must be {KINDS.get(kind, 'a value of its kind')}"
    if found := re.fullmatch(r"argument (\S+): expected .*", said):
        return f"{found[1]}: no value; it must be followed by one"
    if found := re.fullmatch(r"argument (\S+): not allowed with argument (\S+)", said):
        return f"{found[1]}: given with {found[2]}; it must be alone"
    if found := re.fullmatch(r"unrecognized arguments: (.*)", said):
        return f"{found[1]}: not known; it must be what 'sim-site --help' lists"
    return f"sim-site: {said}; it must be as 'sim-site --help' says"
