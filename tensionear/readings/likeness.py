"""How surely a single ring is that of the spoke it was read as. Imports physics, pitch.

A lone pluck has no fellows that would contradict it: a bell, a guitar or the rim may be read as some tension too. What tells is
how much of what is heard lies on the partials of the spoke that was fitted, and how many of its low partials are there.
"""

from __future__ import annotations

import math

import numpy as np

from tensionear.listening import Strike
from tensionear.physics.inverse import GroupFit, Partials
from tensionear.pitch.lines import Heard
from tensionear.pitch.salience import salient

#: Logistic regression on 579 honest plucks at 3 to 30 dB and 564 sounds that are no spoke, of the benches' simulator: of the log
#: odds of a pluck, the share explained, low modes, partials (to 12), rank (to 150, in fifties), misfit (to 8).
_WEIGHTS = np.array([-11.28, 0.68, 6.52, 2.38, 0.25, -0.28, -0.42])
_LOW_MODES, _MOST_PARTIALS, _HIGHEST_RANK, _RANK_UNIT, _WORST_MISFIT = 4, 12, 150.0, 50.0, 8.0
_SURE = 1e-3


def is_like(strike: Strike, heard: Heard, partials: Partials, fit: GroupFit) -> bool:
    """Whether a ring is more probably this spoke's than anything else's.

    Parameters
    ----------
    strike : Strike
    heard : Heard
        What was heard of it as this kind of spoke.
    partials : Partials
        Of one spoke.
    fit : GroupFit
        Of this spoke alone.
    """
    known = np.isfinite(partials.sd[0])
    probability = min(max(strike.probability, _SURE), 1 - _SURE)
    measured = (
        1.0,
        math.log(probability / (1 - probability)),
        salient(heard).explained([fit.predicted[0, 0], fit.predicted[0, 1]]),
        int(known[:, :_LOW_MODES].any(axis=0).sum()),
        min(int(known.sum()), _MOST_PARTIALS),
        min(heard.candidates[0].rank, _HIGHEST_RANK) / _RANK_UNIT,
        min(float(fit.misfit[0]), _WORST_MISFIT),
    )
    return float(np.dot(_WEIGHTS, measured)) > 0
