"""The sites of a scenario as seen from the far end of their links: bytes that come now, late, twice, or never."""

from __future__ import annotations

from sim_site.forward import Forwarder, Sending, sending
from sim_site.releases import Payload
from sim_site.site import Site


class Remote:
    """A Site behind the gateways of its scenario; sites without a [[gateway]] send straight out.

    A release that comes while its site's link is down waits there, and may have lapsed when it is read.
    """

    def __init__(self, site: Site) -> None:
        self.site = site
        scenario = site.scenario
        self.forwarders = {plan.site: Forwarder(plan, scenario.start_ms, site.seed) for plan in scenario.gateway}
        self.unread: list[tuple[str, Payload]] = []

    def step(self, minutes: int) -> list[Sending]:
        """Live through some minutes; what arrives in that time, in the order in which it does."""
        answers = self.read_kept()
        measured = self.site.gather(minutes)
        now_ms = self.site.now_ms
        if not self.forwarders:
            return [*answers, *(sending(each.topic, each.fields) for each in measured)]
        arriving = [
            (each.true_ms, i, sending(each.topic, each.fields))
            for i, each in enumerate(measured)
            if site_of(each.well) not in self.forwarders
        ]
        for name, forwarder in self.forwarders.items():
            forwarder.take([each for each in measured if site_of(each.well) == name], now_ms)
            arriving += forwarder.due(now_ms)
        arriving.sort(key=lambda each: each[:2])
        return [*answers, *(message for _, _, message in arriving)]

    def deliver(self, topic: str, payload: Payload) -> list[Sending]:
        """Hand over a release; an answer that comes at once."""
        if self.is_down(topic):
            self.unread.append((topic, payload))
            return []
        return [sending(*answer) for answer in self.site.deliver(topic, payload)]

    def is_down(self, topic: str) -> bool:
        """Whether the link of the site that a topic is for is down now."""
        names = topic.removeprefix(f"{self.site.scenario.broker.root}/").split("/")
        forwarder = self.forwarders.get(names[0])
        return forwarder is not None and forwarder.down_until(self.site.now_ms) is not None

    def read_kept(self) -> list[Sending]:
        """Releases that waited for a link that is up again, and their answers."""
        kept, self.unread = self.unread, []
        out: list[Sending] = []
        for topic, payload in kept:
            out += self.deliver(topic, payload)
        return out


def site_of(well: str) -> str:
    """The site of a well written 'SITE/WELL'."""
    return well.split("/", 1)[0]
