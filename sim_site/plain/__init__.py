"""A second set of invented wells with another physics: lumped, in field units, all wells of a fleet in one array.

It is there to judge an advisor that was looked at with the first: `sim_site.plain.fleet.Fleet`.
"""
