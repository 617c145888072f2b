"""Brokers and a field of invented wells for the tests of the whole program."""

from __future__ import annotations

from tests.brokers import broker, mosquitto

__all__ = ["broker", "mosquitto"]  # fixtures
