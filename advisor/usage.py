"""A command line whose faults read as all others: ``where: what it is; what it must be``, one a line."""

from __future__ import annotations

import argparse
import re
import sys
from typing import NoReturn

FAULT = 2
MISSING = re.compile(r"the following arguments are required: (?P<names>.*)")
NUMBERS = {"int": "a whole number", "float": "a number"}
# What argparse says, and the same as a fault; what a type of ours says, already is one.
WORDS = (
    (r"argument (?P<where>.+?): (?P<said>.*; must .*)", "{where}: {said}"),
    (r"argument (?P<where>.+?): invalid choice: (?P<is>.*) \(choose from (?P<of>.*)\)", "{where}: is {is}; {one_of}"),
    (r"argument (?P<where>.+?): invalid (?P<type>\w+) value: (?P<is>.*)", "{where}: is {is}; must be {number}"),
    (r"argument (?P<where>.+?): expected .*", "{where}: has no value; must be followed by one"),
    (r"argument (?P<where>.+?): ignored explicit argument (?P<is>.*)", "{where}: has the value {is}; must have none"),
    (r"argument (?P<where>.+?): not allowed with argument (?P<is>.*)", "{where}: is given with {is}; must be alone"),
    (r"ambiguous option: (?P<where>\S+) could match (?P<of>.*)", "{where}: may be one of several; {one_of}"),
    (r"unrecognized arguments: (?P<where>.*)", "{where}: is not known; must be what '{program} --help' lists"),
)


class Line(argparse.ArgumentParser):
    """An argument parser that ends with status 2 and its faults on standard error, without the block of usage."""

    def error(self, message: str) -> NoReturn:
        for line in fault_lines(message, self.prog):
            print(line, file=sys.stderr)
        sys.exit(FAULT)


def fault_lines(message: str, program: str) -> list[str]:
    """What argparse says of a command line of a program, as faults, one a line."""
    said = " ".join(message.split())
    if missing := MISSING.fullmatch(said):
        names = missing["names"].split(", ")
        return [f"{name}: is missing; must be given, see '{program} --help'" for name in names]
    for pattern, words in WORDS:
        if found := re.fullmatch(pattern, said):
            parts = found.groupdict()
            one_of = "must be one of " + parts.get("of", "").replace("'", "")
            number = NUMBERS.get(parts.get("type", ""), "a value of its kind")
            return [words.format(**parts, one_of=one_of, number=number, program=program)]
    return [f"{program}: {said}; must be as '{program} --help' says"]
