"""Invented wells and their sites: own physics, own readings, own gateways; nothing is shared with the advisor.

Without a network: `sim_site.scenario.load_scenario`, then `sim_site.site.Site`; `sim_site.remote.Remote` for what
arrives through failing gateways; `sim_site.fleet.site` and `sim_site.plain.fleet.Fleet` for many random wells. On a
broker: `sim_site.gateway`, or `python -m sim_site`.
"""
