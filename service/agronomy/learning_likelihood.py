"""How well each point of a block's multipliers agrees with all its soil readings.

In: readings of a season as water contents with what each of them can be off by, and the share of
the zone's water that is missing at each point. Out: the logarithm of each point's weight. A ledger
with the right multipliers is still off, by an error that lasts some days; a sensor is off by an
offset that stays, and by noise. The offset is integrated out, and the lasting error is followed
from reading to reading, which in one pass is the same as the full covariance of all readings.
Kalman 1960, J. Basic Eng. 82:35-45; Rasmussen & Williams 2006, Gaussian Processes for Machine
Learning, Eq. B.21 for the exponential covariance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints

MODEL_ERROR = 0.012  # [m³ m⁻³] lasting error of a ledger with the right multipliers, fitted
MODEL_ERROR_DAYS = 3.0  # [d] how long that error lasts, the same fit
ASSUMED_RUN_FACTOR = 1.5  # [CHOICE] on the error for 3 days after runs that nobody reported
ASSUMED_RUN_DAYS = 3  # [CHOICE]
STUDENT_DEGREES = 4.0  # [CHOICE] of Student's distribution, where single readings may be far out
_OFFSET_STEPS = 2
_LARGEST_TABLE_SCORE = 8.0


@dataclass(frozen=True, slots=True)
class SoilObservations:
    """A season's readings of one block, arrays (readings,) in order of time."""

    column: Ints
    """Midnight with which the reading is compared: 0 before the first day, d + 1 the end of d."""
    volumetric_water: Floats
    """[m³ m⁻³]; for a bound, the water content of it."""
    noise: Floats
    """Standard deviation of a reading by itself [m³ m⁻³]."""
    model_error: Floats
    """Standard deviation of the lasting error of the ledger [m³ m⁻³]."""
    bound: Ints
    """0: a value; 1: the soil is at least as wet as this, 2: at least as dry."""
    sensor: Ints
    """Number of the sensor, from 0 on."""
    offset_loading: Floats
    """How the sensor's offset enters: 1 for water content, theta/B for the log of tension."""
    offset_spread: Floats
    """(sensors,) standard deviation of the offset beforehand, in its own unit."""

    def some(self, chosen: NDArray[np.bool_]) -> SoilObservations:
        """Those readings that are chosen, of the same sensors."""
        return replace(
            self,
            column=self.column[chosen],
            volumetric_water=self.volumetric_water[chosen],
            noise=self.noise[chosen],
            model_error=self.model_error[chosen],
            bound=self.bound[chosen],
            sensor=self.sensor[chosen],
            offset_loading=self.offset_loading[chosen],
        )


@dataclass(frozen=True, slots=True)
class Agreement:
    """How points agree with readings, and what is left of them."""

    log_weight: Floats
    """(points,) but for a constant."""
    offset_mean: Floats
    """(points, sensors) offset of each sensor if the point is right."""
    offset_covariance: Floats
    """(sensors, sensors) of what stays uncertain of the offsets, at any point."""
    error_score: Floats
    """(points,) lasting error at the last value, in standard deviations."""
    error_variance: float
    """Of that score, the offsets' part included."""
    last_column: int
    """Midnight of the last value; -1 without one."""


@dataclass(frozen=True, slots=True)
class _Whitened:
    """Independent unit scores of columns, and the lasting error at the end of them."""

    scores: Floats
    state: Floats
    variance: float


def agreement(
    observations: SoilObservations,
    fraction: NDArray[np.float32],
    *,
    field_capacity: float,
    wilting_point: float,
    student_degrees: float | None = None,
) -> Agreement:
    """How well each point agrees with the readings.

    Shapes: fraction (points, midnights), of :func:`service.agronomy.learning_ledger.
    point_fractions`.
    student_degrees: of Student's distribution of the scores; normal when None.
    Returns: Agreement; log weights 0 without a reading.
    Equation: e = theta - FC + (FC - WP) F; ln w = -(z.z - u' A^-1 u) / 2 with z = L^-1 e, o = L^-1
    (offset column), A = o'o + 1/s_b², u = o'z and L L' the covariance s_o² I + tau² exp(-dt/3 d);
    with nu degrees sum of (nu + 1) ln(1 + z²/nu) / 2 instead of z.z / 2 [CHOICE]. A bound counts by
    the normal distribution beyond it.
    >>> one = np.ones(1)
    >>> reading = SoilObservations(np.array([1]), 0.2 * one, 0.015 * one, 0.012 * one,
    ...     np.array([0]), np.array([0]), one, 0.02 * one)
    >>> points = np.array([[0.0, 0.25], [0.0, 0.5]], dtype=np.float32)
    >>> found = agreement(reading, points, field_capacity=0.23, wilting_point=0.11)
    >>> found.log_weight.round(4).tolist()  # theta is 0 and 0.03 off, variance 0.000769
    [0.0, -0.5852]
    """
    is_value = observations.bound == 0
    values = observations.some(is_value)
    water_range = field_capacity - wilting_point
    residual = _residuals(values, fraction, field_capacity, water_range)
    found = _of_values(values, residual, student_degrees)
    if is_value.all():
        return found
    limits = observations.some(~is_value)
    mean_offset = found.offset_mean[:, limits.sensor].T * limits.offset_loading[:, None]
    distance = _residuals(limits, fraction, field_capacity, water_range) - mean_offset
    spread = np.sqrt(limits.noise**2 + limits.model_error**2)[:, None]
    # Wetter than the bound: the true content lies above it, so that the residual is negative.
    sign = np.where(limits.bound == 1, -1.0, 1.0)[:, None]
    return replace(
        found,
        log_weight=found.log_weight + _log_normal_share(sign * distance / spread).sum(axis=0),
    )


def _residuals(
    readings: SoilObservations,
    fraction: NDArray[np.float32],
    field_capacity: float,
    water_range: float,
) -> Floats:
    """(readings, points) water contents read less those of the points."""
    missing = fraction[:, readings.column].T.astype(np.float64)
    return np.asarray(readings.volumetric_water[:, None] - field_capacity + water_range * missing)


def _of_values(values: SoilObservations, residual: Floats, degrees: float | None) -> Agreement:
    sensor_count = values.offset_spread.size
    loading = np.zeros((values.column.size, sensor_count))
    loading[np.arange(values.column.size), values.sensor] = values.offset_loading
    white = _whitened(values, np.hstack((residual, loading)))
    point_count = residual.shape[1]
    scores, offsets = white.scores[:, :point_count], white.scores[:, point_count:]
    prior_precision = np.diag(1.0 / values.offset_spread**2)
    precision = offsets.T @ offsets + prior_precision
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    projected = offsets.T @ scores
    mean = covariance @ projected
    if degrees is None:
        log_weight = -0.5 * (
            np.einsum("ij,ij->j", scores, scores) - np.einsum("ij,ij->j", projected, mean)
        )
    else:
        mean, log_weight = _student(scores, offsets, prior_precision, mean, degrees)
    carried = white.state[point_count:]
    return Agreement(
        log_weight=log_weight,
        offset_mean=mean.T,
        offset_covariance=covariance,
        error_score=white.state[:point_count] - carried @ mean,
        error_variance=white.variance + float(carried @ covariance @ carried),
        last_column=int(values.column[-1]) if values.column.size else -1,
    )


def _whitened(values: SoilObservations, columns: Floats) -> _Whitened:
    """The columns as independent scores, by following the lasting error through the readings."""
    scores = np.empty(columns.shape)
    state, variance = np.zeros(columns.shape[1]), 1.0
    before = int(values.column[0]) if values.column.size else 0
    for row, (column, noise, error) in enumerate(_steps(values)):
        kept = np.exp((before - column) / MODEL_ERROR_DAYS)
        state, variance, before = state * kept, kept**2 * variance + 1.0 - kept**2, column
        total = error**2 * variance + noise**2
        novelty = columns[row] - error * state
        scores[row] = novelty / np.sqrt(total)
        gain = error * variance / total
        state = state + gain * novelty
        variance -= gain * error * variance
    return _Whitened(scores, state, variance)


def _steps(values: SoilObservations) -> Iterator[tuple[int, float, float]]:
    return zip(
        values.column.tolist(), values.noise.tolist(), values.model_error.tolist(), strict=True
    )


def _student(
    scores: Floats, offsets: Floats, prior_precision: Floats, mean: Floats, degrees: float
) -> tuple[Floats, Floats]:
    """Offsets (sensors, points) and log weights with Student's distribution of the scores."""
    precision = np.broadcast_to(prior_precision, (scores.shape[1], *prior_precision.shape))
    for _ in range(_OFFSET_STEPS):
        left = scores - offsets @ mean
        trust = (degrees + 1.0) / (degrees + left * left)
        precision = np.einsum("ij,ip,ik->pjk", offsets, trust, offsets) + prior_precision
        wanted = np.einsum("ij,ip,ip->pj", offsets, trust, scores)
        mean = np.linalg.solve(precision, wanted[..., None])[..., 0].T
    left = scores - offsets @ mean
    far = 0.5 * (degrees + 1.0) * np.log1p(left * left / degrees).sum(axis=0)
    drawn = 0.5 * np.einsum("jp,jk,kp->p", mean, prior_precision, mean)
    return mean, -far - drawn - 0.5 * np.linalg.slogdet(precision)[1]


_TABLE_SCORES = np.linspace(-_LARGEST_TABLE_SCORE, _LARGEST_TABLE_SCORE, 1601)
_TABLE_SHARES = np.log([NormalDist().cdf(score) for score in _TABLE_SCORES.tolist()])


def _log_normal_share(scores: Floats) -> Floats:
    """ln of the standard normal distribution function; beyond -8 its leading term."""
    inside = np.interp(scores, _TABLE_SCORES, _TABLE_SHARES)
    tail = np.minimum(scores, -_LARGEST_TABLE_SCORE)
    beyond = -0.5 * tail * tail - np.log(-tail * np.sqrt(2.0 * np.pi))
    return np.where(scores < -_LARGEST_TABLE_SCORE, beyond, inside)
