from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.belief import ensemble, prior
from tests.belief.invented import START_MS, column, well


def three() -> ensemble.Belief:
    wells = [well(name) for name in ("1", "2", "3")]
    return prior.draw(wells, [START_MS, START_MS + 1, START_MS + 2], [column()] * 3, members=16)


def test_a_belief_stored_before_a_count_was_kept_has_it_at_zero() -> None:
    one = three().pick([0])
    older = replace(one, counts={name: values for name, values in one.counts.items() if name != "strokes"})
    assert ensemble.from_bytes(older.to_bytes()).counts["strokes"].tolist() == [0.0]


def test_what_a_stored_belief_has_that_is_kept_no_more_is_left_out_so_that_it_joins_others() -> None:
    """An earlier release kept the count "leaks" and the member "then_potential"."""
    one, other = three().pick([0]), three().pick([1])
    older = other.with_members({"then_potential": np.zeros((1, 16))}, {"leaks": np.ones(1)})
    for listed in ([one, older], [older, one]):
        back = ensemble.join([ensemble.from_bytes(each.to_bytes()) for each in listed])
        assert set(back.counts) == set(one.counts)
        assert set(back.members) == set(one.members)


def test_a_belief_comes_back_from_its_bytes_unchanged() -> None:
    for i in range(3):
        one = three().pick([i])
        back = ensemble.from_bytes(one.to_bytes())
        assert back.wells == one.wells
        assert back.at_ms.tolist() == [START_MS + i]
        assert set(back.members) == set(one.members)
        for name, values in one.members.items():
            np.testing.assert_array_equal(back.members[name], values)
        for name, values in one.counts.items():
            np.testing.assert_array_equal(back.counts[name], values)
        assert back.to_bytes() == one.to_bytes()


def test_several_wells_are_not_stored_as_one() -> None:
    with pytest.raises(ValueError, match="holds 3 wells; must be one"):
        three().to_bytes()


def test_an_unknown_version_is_refused_by_its_number() -> None:
    stored = bytearray(three().pick([0]).to_bytes())
    stored[len(ensemble.MAGIC)] = 99
    with pytest.raises(ensemble.BeliefFormatError, match="version 99; must be"):
        ensemble.from_bytes(bytes(stored))


@pytest.mark.parametrize("spoil", [lambda s: s[:40], lambda s: b"other" + s, lambda s: s[:-3], lambda s: b""])
def test_other_bytes_are_refused(spoil) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ensemble.BeliefFormatError, match="must be"):
        ensemble.from_bytes(spoil(three().pick([0]).to_bytes()))


def test_one_changed_byte_is_noticed() -> None:
    stored = bytearray(three().pick([0]).to_bytes())
    stored[200] ^= 1
    with pytest.raises(ensemble.BeliefFormatError, match="checksum"):
        ensemble.from_bytes(bytes(stored))


def test_picked_and_joined_beliefs_are_the_same_wells() -> None:
    belief = three()
    again = ensemble.join([belief.pick([2]), belief.pick([0, 1])])
    assert again.wells == ("north/3", "north/1", "north/2")
    np.testing.assert_array_equal(again.members["ln_potential"][0], belief.members["ln_potential"][2])


def test_beliefs_of_different_sizes_do_not_join() -> None:
    other = prior.draw([well()], START_MS, [column()], members=32)
    with pytest.raises(ValueError, match="must be the same number"):
        ensemble.join([three(), other])
    with pytest.raises(ValueError, match="nothing to join"):
        ensemble.join([])


def test_a_stream_belongs_to_well_time_and_purpose() -> None:
    def first(*of) -> float:  # type: ignore[no-untyped-def]
        return float(ensemble.stream(*of).standard_normal())

    base = ("north/1", START_MS, "prior")
    assert first(*base) == first(*base)
    others = [("north/2", START_MS, "prior"), ("north/1", START_MS + 1, "prior"), ("north/1", START_MS, "walk")]
    assert len({first(*base), *(first(*o) for o in others)}) == 4


def test_normals_come_in_opposite_pairs() -> None:
    drawn = ensemble.normals("north/1", START_MS, "prior", 3, 64)
    np.testing.assert_allclose(drawn.mean(axis=1), 0.0, atol=1e-15)
    assert 0.7 < drawn.std() < 1.3


def test_the_prior_is_wide_where_little_is_known() -> None:
    known, guessed = well("1"), replace(well("2"), reservoir_psig=None)
    belief = prior.draw([known, guessed], START_MS, [column()] * 2)
    sd = belief.members["ln_reservoir"].std(axis=1)
    assert 0.07 < sd[0] < 0.12 < sd[1]
    assert np.median(np.exp(belief.members["ln_reservoir"][0])) == pytest.approx(1164.7, rel=0.02)
    assert 0.55 < belief.members["ln_potential"][0].std() < 0.95


def test_slip_follows_the_configured_clearance() -> None:
    # 453 (1 + 0.14 N) D dP C^1.52/(L mu): 8 spm, 1.5 in, 0.005 in, 48 in, 1.3 cP, 0.35 psi/ft x 5000 ft = 1750 psi
    # = 453 x 2.12 x 1.5 x 1750 x 0.005^1.52 / (48 x 1.3) = 12.85 bpd, by hand (Patterson et al. 2007), as the mean;
    # the middle of a lognormal is its mean x exp(-sd^2/2), with 0.7: 12.85 x 0.783 = 10.06
    tight = replace(well(), plunger_clearance_in=0.005, plunger_length_in=48.0)
    slip_bpd = np.exp(prior.draw([tight], START_MS, [column()]).members["ln_slip"])
    assert float(slip_bpd.mean()) == pytest.approx(12.85, rel=0.12)
    assert float(np.median(slip_bpd)) == pytest.approx(10.06, rel=0.05)


def test_members_must_be_even_and_lengths_agree() -> None:
    with pytest.raises(ValueError, match="7 members; must be even"):
        prior.draw([well()], START_MS, [column()], members=7)
    with pytest.raises(ValueError, match="2 wells and 1 columns"):
        prior.draw([well("1"), well("2")], START_MS, [column()])
