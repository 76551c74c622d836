"""The filter against closed forms, scipy's Riccati solver and filterpy's own recursions."""

from __future__ import annotations

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter
from scipy.linalg import solve_discrete_are
from scipy.stats import multivariate_normal

from vision.kalman import (
    Belief,
    MotionModel,
    Sightings,
    filter_backward,
    filter_forward,
    join_cost,
    predict,
    smooth,
    start,
    step_model,
    update,
)

DENSITY, SPEED = 8.0, 4.0
MODEL = MotionModel(SPEED)


def sighted(time_s: np.ndarray, position: np.ndarray, covariance: np.ndarray) -> Sightings:
    return Sightings(time_s, position, covariance, np.full(position.shape[:2], DENSITY))


def measured(n: int = 3, t: int = 40, seed: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.uniform(0.02, 0.1, t))
    position = np.cumsum(rng.normal(0, 0.3, (n, t, 2)), axis=1)
    root = rng.normal(0, 0.2, (n, t, 2, 2))
    covariance = root @ root.swapaxes(-1, -2) + 0.02 * np.eye(2)
    position[rng.random((n, t)) < 0.2] = np.nan
    position[:, 0] = 0.0
    return time_s, position, covariance


def test_white_noise_acceleration_has_its_closed_form() -> None:
    move, noise = step_model(0.5, 3.0)
    # Bar-Shalom et al. 2001, eq. 6.2.2-12: q [[T^3/3, T^2/2], [T^2/2, T]]
    block = 3.0 * np.array([[0.5**3 / 3, 0.5**2 / 2], [0.5**2 / 2, 0.5]])
    assert noise == pytest.approx(np.kron(np.eye(2), block))
    assert move @ [1.0, 2.0, 3.0, 4.0] == pytest.approx([2.0, 2.0, 5.0, 4.0])


def test_steady_state_covariance_solves_the_riccati_equation() -> None:
    dt, noise = 0.1, 0.04 * np.eye(2)
    move, disturbance = step_model(dt, DENSITY)
    observe = np.array([[1.0, 0, 0, 0], [0, 0, 1, 0]])
    expected = solve_discrete_are(move.T, observe.T, disturbance, noise)
    belief = start(np.zeros(2), noise, SPEED)
    for _ in range(200):
        belief = predict(update(belief, np.zeros(2), noise), dt, DENSITY)
    assert belief.covariance == pytest.approx(expected, rel=1e-6)


def reference(time_s: np.ndarray, position: np.ndarray, covariance: np.ndarray) -> tuple[np.ndarray, ...]:
    """One track through filterpy's own filter and smoother."""
    model = KalmanFilter(dim_x=4, dim_z=2)
    model.H = np.array([[1.0, 0, 0, 0], [0, 0, 1, 0]])
    first = start(position[0], covariance[0], SPEED)
    model.x, model.P = first.mean.copy(), first.covariance.copy()
    means, spreads, moves, noises = [first.mean], [first.covariance], [np.eye(4)], [np.zeros((4, 4))]
    for k in range(1, len(time_s)):
        model.F, model.Q = step_model(round(time_s[k] - time_s[k - 1], 6), DENSITY)
        model.predict()
        if np.isfinite(position[k]).all():
            model.update(position[k], R=covariance[k])
        means.append(model.x.copy())
        spreads.append(model.P.copy())
        moves.append(model.F)
        noises.append(model.Q)
    smoothed, spread, _, _ = model.rts_smoother(np.array(means), np.array(spreads), moves, noises)
    return np.array(means), np.array(spreads), smoothed, spread


def test_the_batch_agrees_with_filterpy_track_by_track() -> None:
    time_s, position, covariance = measured()
    filtered = filter_forward(sighted(time_s, position, covariance), MODEL)
    smoothed = smooth(sighted(time_s, position, covariance), MODEL)
    for row in range(len(position)):
        means, spreads, best, spread = reference(time_s, position[row], covariance[row])
        assert filtered.mean[row] == pytest.approx(means, abs=1e-6)
        assert filtered.covariance[row] == pytest.approx(spreads, abs=1e-6)
        assert smoothed.mean[row] == pytest.approx(best, abs=1e-6)
        assert smoothed.covariance[row] == pytest.approx(spread, abs=1e-6)


def test_smoothing_is_the_least_squares_answer() -> None:
    """The smoother's mean is that of the joint Gaussian of all states given all measurements, solved here at once."""
    time_s, position, covariance = measured(n=1, t=12, seed=3)
    t = len(time_s)
    information, vector = np.zeros((4 * t, 4 * t)), np.zeros(4 * t)
    for k in range(t):
        here = slice(4 * k, 4 * k + 4)
        if np.isfinite(position[0, k]).all():
            weight = np.linalg.inv(covariance[0, k])
            observe = np.array([[1.0, 0, 0, 0], [0, 0, 1, 0]])
            information[here, here] += observe.T @ weight @ observe
            vector[here] += observe.T @ weight @ position[0, k]
        if k:
            move, noise = step_model(round(time_s[k] - time_s[k - 1], 6), DENSITY)
            both = np.concatenate([-move, np.eye(4)], axis=1)
            pair = slice(4 * k - 4, 4 * k + 4)
            information[pair, pair] += both.T @ np.linalg.inv(noise) @ both
    information[1, 1] += 1 / SPEED**2
    information[3, 3] += 1 / SPEED**2
    expected = np.linalg.solve(information, vector).reshape(t, 4)
    smoothed = smooth(sighted(time_s, position, covariance), MODEL)
    assert smoothed.mean[0] == pytest.approx(expected, abs=1e-5)
    assert smoothed.covariance[0, 5] == pytest.approx(np.linalg.inv(information)[20:24, 20:24], abs=1e-5)


def test_backward_is_forward_in_a_mirror() -> None:
    time_s = np.arange(6) * 0.1
    position = np.stack([np.arange(6) * 0.5, np.zeros(6)], axis=1)[None]
    covariance = np.tile(0.01 * np.eye(2), (1, 6, 1, 1))
    back = filter_backward(sighted(time_s, position, covariance), MODEL)
    assert back.velocity[0, 0, 0] == pytest.approx(5.0, abs=0.3)
    assert np.isfinite(back.mean).all()


def test_a_late_start_is_unknown_before() -> None:
    time_s, position, covariance = measured(n=2)
    position[1, :10] = np.nan
    position[1, 10] = 1.0
    sightings = sighted(time_s, position, covariance)
    for belief in (filter_forward(sightings, MODEL), smooth(sightings, MODEL)):
        assert np.isnan(belief.mean[1, :10]).all()
        assert np.isfinite(belief.mean[1, 10:]).all()


def test_join_cost_is_the_density_of_the_gap() -> None:
    past = Belief(np.array([0.0, 5.0, 0.0, 0.0]), 0.01 * np.eye(4))
    future = Belief(np.array([2.6, 5.0, 0.1, 0.0]), 0.02 * np.eye(4))
    move, noise = step_model(0.5, DENSITY)
    spread = move @ past.covariance @ move.T + noise + future.covariance
    expected = -multivariate_normal(move @ past.mean, spread).logpdf(future.mean)
    assert join_cost(past, future, np.array(0.5), DENSITY) == pytest.approx(expected, rel=1e-6)


def test_one_wild_measurement_counts_less_under_an_outlier_bound() -> None:
    time_s = np.arange(30) / 30
    position = np.zeros((1, 30, 2))
    position[0, 15] = 3.0
    sightings = sighted(time_s, position, np.tile(0.01 * np.eye(2), (1, 30, 1, 1)))
    plain = smooth(sightings, MODEL).position[0, 15, 0]
    bounded = smooth(sightings, MotionModel(SPEED, outlier=6.0)).position[0, 15, 0]
    assert abs(bounded) < abs(plain) / 3
