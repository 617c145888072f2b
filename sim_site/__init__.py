"""Invented wells and their sites: own physics, own readings, own gateway; nothing is shared with the advisor.

Without a network: `sim_site.scenario.load_scenario`, then `sim_site.site.Site`. On a broker: `sim_site.gateway`,
or `python -m sim_site`.
"""
