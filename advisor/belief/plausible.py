"""Members whose errors of depth nobody would believe, given up for copies of others.

A filter moves its members to what they read, and forgets how unlikely it was what moved them: a pump that starves is
had to read a thousand feet of liquid by a velocity of sound eight deviations off, and foretells every shot from then
on. The errors that all shots of a well share were drawn as standard normals and hardly change; a member that needs
one beyond BEYOND is worth next to nothing as long as others need none.
"""

from __future__ import annotations

import numpy as np

from advisor.belief import chosen, modes
from advisor.belief.ensemble import Belief, Marks

BEYOND = 5.0  # standard deviations: 1 well in 2 million; with less a well that is a little odd would be put right
LEAST_KEPT = 0.25  # of the members: with fewer that are plausible, it is the well that is odd
ERRORS = ("velocity", "void", "gas_rate", "density")


def kept(belief: Belief, rows: Marks) -> Belief:
    """The belief with implausible members of the marked wells (W,) replaced."""
    odd = np.any([np.abs(belief.members[name]) > BEYOND for name in ERRORS], axis=0)
    few = odd.sum(axis=-1) <= (1.0 - LEAST_KEPT) * belief.size
    wanted = rows & few & odd.any(axis=-1)
    if not wanted.any():
        return belief
    members = {name: values.copy() for name, values in belief.members.items()}
    for i in np.flatnonzero(wanted).tolist():
        places = modes.exchanged(~odd[i], int(odd[i].sum()), belief, i)
        for name, values in members.items():
            values[i] = belief.members[name][i][places]
        chosen.spread(members, belief, i, odd[i], untold=())
    return belief.with_members(members)
