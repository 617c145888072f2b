"""What passes between simulated sites and an advisor in a bench: what is heard, and what is published."""

from __future__ import annotations

import json
from typing import Any

from advisor.core import Advisor
from sim_site.chance import stream
from sim_site.plain.fleet import Fleet
from sim_site.site import Message, Site

FILLAGE_MIN, FILLAGE_SD = 10, 0.03


def heard(wells: Fleet | Site, minutes: int, *, fillage: bool) -> list[Message]:
    """What the sites send in so many minutes; with fillage, what the barrel held when each was taken."""
    if not fillage:
        return wells.step(minutes)
    found: list[Message] = []
    for _ in range(minutes // FILLAGE_MIN):
        piece = wells.step(FILLAGE_MIN)
        fill = {key: one.fillage_frac for key, one in wells.truth(with_best=False).items()}
        for topic, fields in piece:
            if topic.endswith("/reading/run") and fields["running"]:
                key = "/".join(topic.split("/")[1:3])
                noise = FILLAGE_SD * float(stream("fillage", key, fields["at"]).standard_normal())
                fields["fillage_frac"] = round(min(max(fill[key] + noise, 0.0), 1.0), 3)
        found += piece
    return found


def published(advisor: Advisor) -> list[tuple[str, dict[str, Any]]]:
    """All that waits to be sent, sent: topics and bodies in order."""
    found = []
    while waiting := advisor.outgoing():
        found += [(m.topic, json.loads(m.payload)) for m in waiting if m.payload]
        advisor.sent_all([m.id for m in waiting])
    return found
