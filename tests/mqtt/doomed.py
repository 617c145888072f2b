"""A daemon that takes what it is given, acknowledges the first of it, says so, and waits to be killed.

Run as: python -m tests.mqtt.doomed PORT FILTER MESSAGES TO_ACKNOWLEDGE
"""

from __future__ import annotations

import sys
import time

from advisor.mqtt.inbox import Arrived
from tests.mqtt.conftest import Daemon


def main(port: int, topic_filter: str, messages: int, to_acknowledge: int) -> None:
    daemon = Daemon(port, [topic_filter]).up()
    print("up", flush=True)
    taken: list[Arrived] = []
    while len(taken) < messages:
        taken += daemon.inbox.take_batch()
    daemon.inbox.acknowledge(taken[:to_acknowledge])
    while daemon.link.facts().unacknowledged != messages - to_acknowledge:
        time.sleep(0.01)
    time.sleep(0.3)  # the acknowledgements leave on the link's thread
    print("taken", flush=True)
    time.sleep(60.0)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
