"""Where the files are that come with the program: in the installed package, or in the source tree."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def rules_folder() -> Path:
    """The shipped rules. FileNotFoundError where the installation lacks them."""
    return _shipped("rules")


def example_config() -> Path:
    """The example configuration. FileNotFoundError where the installation lacks it."""
    return _shipped("config.example.toml")


def _shipped(name: str) -> Path:
    for place in (_PACKAGE / name, _PACKAGE.parent / name):
        if place.exists():
            return place
    raise FileNotFoundError(f"{_PACKAGE / name}: is not there; must come with the installed program")
