"""What shots of one clip learn from each other of the readout."""

from dataclasses import replace

import numpy as np
import pytest

from tests.tracker.invented_shot import unmeasured
from tests.tracker.simulated_shots import KINDS, simulate
from tracker.fitting.pooling import readout_of
from tracker.measurement.fitted_shot import FittedShot
from tracker.measurement.sharing import OPEN_READOUT_U_S, _together, with_shared_readout


def test_a_prior_and_an_estimate_are_weighted_by_their_variances() -> None:
    known = simulate(KINDS["calm"], 1, 3, shots=1)[0].known
    value, u = _together(replace(known, readout_s=0.010, readout_u_s=0.004), (0.020, 0.003))
    assert value == pytest.approx((0.010 / 16.0 + 0.020 / 9.0) / (1.0 / 16.0 + 1.0 / 9.0))
    assert u == pytest.approx(0.0024)


def test_rows_stay_where_nothing_can_be_learned() -> None:
    shot = simulate(KINDS["calm"], 1, 3, shots=1)[0]
    assert shot.known.readout_u_s < OPEN_READOUT_U_S
    without = FittedShot(unmeasured())
    stated = FittedShot(unmeasured(), fit=(shot.known, shot.fit()))
    shots = [without, stated, stated]
    kept, notes = with_shared_readout(shots)
    assert all(one is other for one, other in zip(kept, shots, strict=True)) and notes == []


def test_others_narrow_a_shots_exit_speed() -> None:
    shots = simulate(KINDS["calm"], 1, 5, shots=3)
    wide = replace(shots[0].known, readout_s=0.006, readout_u_s=0.006)
    fits = [(wide, replace(shot, known=wide).fit()) for shot in shots]
    value, u = _together(wide, readout_of(fits[1:]))
    narrowed = replace(shots[0], known=replace(wide, readout_s=value, readout_u_s=u)).fit()
    before, after = (np.sqrt(np.diag(fit.covariance)[4:7]) for fit in (fits[0][1], narrowed))
    assert np.all(after <= before * 1.001) and after.min() < before.max()
