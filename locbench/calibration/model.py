"""All residuals of a calibration about one guess: of the odometry between knots, of places, detections and surveys."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np

from locbench.arrays import FloatArray
from locbench.calibration.drive import Drive, Places
from locbench.calibration.linear import Block
from locbench.calibration.reading import Set
from locbench.calibration.sightings import Spreads, detection_residuals, poses_when_seen, spreads
from locbench.calibration.wheels import Rolled, whiles
from locbench.geometry import between, wrap_angle
from locbench.reference.smoother import Linearised, linearised

__all__ = ["Group", "Guess", "Model", "Part"]

# of poses at knots: rounding of the readings and the integration between rows
_FLOOR = np.array([1e-4, 1e-4, 1e-4]) ** 2
_DIGITS = 1e-12
# to take derivatives by a pose
_STEP = np.array([1e-5, 1e-5, 1e-5])


class Group(StrEnum):
    """What residuals compare."""

    ODOMETRY = "odometry"
    PARITY = "parity"
    PLACES = "places"
    DETECTIONS = "detections"
    SURVEY = "survey"
    DISTANCES = "distances"


@dataclass(frozen=True)
class Guess:
    """All unknowns of a fit.

    Attributes
    ----------
    shifts
        (P,) of the constants.
    drifts_rad_s
        (D,) what the gyro drifts in each drive.
    knots
        (n, 3) poses of each drive, headings unwrapped.
    survey
        (K, 3) errors of the surveyed places.
    """

    shifts: FloatArray
    drifts_rad_s: FloatArray
    knots: tuple[FloatArray, ...]
    survey: FloatArray

    @property
    def vector(self) -> FloatArray:
        """(P + D,) the unknowns that are not eliminated."""
        return np.concatenate([self.shifts, self.drifts_rad_s])

    def with_vector(self, vector: FloatArray) -> "Guess":
        """Return the guess with other shifts and drifts."""
        count = len(self.shifts)
        return Guess(vector[:count], vector[count:], self.knots, self.survey)

    def moved(self, change: FloatArray) -> "Guess":
        """Return the guess with poses and surveys changed by (U,)."""
        ends = np.cumsum([knots.size for knots in self.knots])
        parts = np.split(change, ends)
        knots = tuple(old + part.reshape(-1, 3) for old, part in zip(self.knots, parts, strict=False))
        return Guess(self.shifts, self.drifts_rad_s, knots, self.survey + parts[-1].reshape(-1, 3))


@dataclass(frozen=True)
class Part:
    """A block of residuals, what it compares, and in which drive; None for what all drives share."""

    group: Group
    drive: int | None
    block: Block


@dataclass(frozen=True)
class Model:
    """The residuals of a set of drives, linearised about a guess in all but shifts and drifts."""

    fitted: Set
    about: Guess

    @property
    def unknowns(self) -> int:
        """How many unknowns are eliminated."""
        return sum(knots.size for knots in self.about.knots) + self.about.survey.size

    @cached_property
    def _first(self) -> list[int]:
        """Index of each drive's first unknown, then of the first surveyed place's."""
        return [0, *np.cumsum([knots.size for knots in self.about.knots]).tolist()]

    def parts(self, vector: FloatArray) -> Iterator[Part]:
        """Return all residuals with other shifts and drifts (P + D,)."""
        guess = self.about.with_vector(vector)
        for number, drive in enumerate(self.fitted.drives):
            rolled = self._rolled(number, guess)
            path = drive.wheels.poses(rolled)
            yield Part(Group.ODOMETRY, number, self._odometry(number, rolled, path))
            if rolled.parity.shape[1]:
                yield Part(Group.PARITY, number, _parity(drive, rolled))
            yield from self._detections(number, drive, path, guess.shifts)
            for places in (drive.start, drive.marks, drive.truth):
                if len(places.knot):
                    yield Part(Group.PLACES, number, self._places(number, places))
        yield from self._surveys()

    @cached_property
    def _about(self) -> list[tuple[Rolled, FloatArray]]:
        """Per drive what was rolled by the guess, and the path it means."""
        rolled = [self._rolled(number, self.about) for number in range(len(self.fitted.drives))]
        return [(one, drive.wheels.poses(one)) for one, drive in zip(rolled, self.fitted.drives, strict=True)]

    def _rolled(self, number: int, guess: Guess) -> Rolled:
        wheels = self.fitted.drives[number].wheels
        return wheels.rolled(self.fitted.constants, guess.shifts, float(guess.drifts_rad_s[number]))

    def _link(self, number: int, rolled: Rolled, path: FloatArray) -> Linearised:
        drive, knots = self.fitted.drives[number], self.about.knots[number]
        here = path[drive.knot_row]
        noise = drive.wheels.covariance_between(rolled, path, drive.knot_row)
        return linearised(knots[:-1], knots[1:], between(here[:-1], here[1:]), noise)

    @cached_property
    def _odometry_slopes(self) -> list[tuple[FloatArray, FloatArray]]:
        """Per drive the derivatives (n - 1, 3, 3) of the odometry's residuals by the poses before and after."""
        found = []
        for number, (rolled, path) in enumerate(self._about):
            link = self._link(number, rolled, path)
            inverse = _inverse_root(link.added)
            found.append((-inverse @ link.carry, inverse))
        return found

    def _odometry(self, number: int, rolled: Rolled, path: FloatArray) -> Block:
        link = self._link(number, rolled, path)
        residual = -(_inverse_root(link.added) @ link.offset[..., np.newaxis])[..., 0]
        before = self._first[number] + 3 * np.arange(len(residual))
        slopes = tuple(zip((before, before + 3), self._odometry_slopes[number], strict=True))
        return Block(residual, slopes, np.ones(len(residual)))

    def _detections(self, number: int, drive: Drive, path: FloatArray, shifts: FloatArray) -> Iterator[Part]:
        if drive.seen is None:
            return
        here = self._missed(number, path, self.about.knots[number], shifts)
        index = self._first[number] + 3 * drive.seen.knot
        slopes = ((index, self._detection_slopes[number]),)
        yield Part(Group.DETECTIONS, number, Block(here, slopes, np.ones(len(here))))

    def _missed(self, number: int, path: FloatArray, knots: FloatArray, shifts: FloatArray) -> FloatArray:
        drive = self.fitted.drives[number]
        assert drive.seen is not None
        poses = poses_when_seen(drive, drive.seen, path, knots, self.fitted.constants, shifts)
        return detection_residuals(drive.seen, self._spreads[number], poses, self.fitted.constants, shifts)

    @cached_property
    def _spreads(self) -> dict[int, Spreads]:
        """What the detections of each drive are measured by."""
        found = {}
        for number, drive in enumerate(self.fitted.drives):
            if drive.seen is not None:
                path, knots = self._about[number][1], self.about.knots[number]
                poses = poses_when_seen(drive, drive.seen, path, knots, self.fitted.constants, self.about.shifts)
                found[number] = spreads(drive.seen, poses)
        return found

    @cached_property
    def _detection_slopes(self) -> dict[int, FloatArray]:
        """Per drive (M, D, 3) by the pose at the knot before; the same for all constants near the guess."""
        found = {}
        for number, drive in enumerate(self.fitted.drives):
            if drive.seen is not None:
                path, knots = self._about[number][1], self.about.knots[number]
                here = self._missed(number, path, knots, self.about.shifts)
                columns = [
                    (self._missed(number, path, knots + step, self.about.shifts) - here) / step.sum()
                    for step in np.diag(_STEP)
                ]
                found[number] = np.stack(columns, axis=-1)
        return found

    def _places(self, number: int, places: Places) -> Block:
        error = self.about.knots[number][places.knot] - places.pose
        scale = np.where(np.isfinite(places.std) & np.isfinite(places.pose), 1.0 / places.std, 0.0)
        shared = places.survey >= 0
        error[shared] -= self.about.survey[places.survey[shared]]
        error[:, 2] = wrap_angle(error[:, 2])
        residual = np.where(scale > 0.0, error * scale, 0.0)
        slope = scale[:, :, np.newaxis] * np.eye(3)
        index = self._first[number] + 3 * places.knot
        survey = self._first[-1] + 3 * np.maximum(places.survey, 0)
        of_survey = np.where(shared[:, np.newaxis, np.newaxis], -slope, 0.0)
        slopes = ((index, slope), (survey, of_survey)) if np.any(shared) else ((index, slope),)
        return Block(residual, slopes, np.ones(len(residual)))

    def _surveys(self) -> Iterator[Part]:
        surveyed, error = self.fitted.surveyed, self.about.survey
        sure = np.flatnonzero(np.isfinite(surveyed.survey_std[:, 0]))
        if len(sure):
            std = surveyed.survey_std[sure]
            # a place known exactly has no error to find
            scale = np.where(np.isfinite(std), 1.0 / np.maximum(std, 1e-6), 1.0)
            slope = scale[:, :, np.newaxis] * np.eye(3)
            index = self._first[-1] + 3 * sure
            yield Part(Group.SURVEY, None, Block(error[sure] * scale, ((index, slope),), np.ones(len(sure))))
        if surveyed.distances:
            yield Part(Group.DISTANCES, None, self._distances())

    def _distances(self) -> Block:
        surveyed = self.fitted.surveyed
        first = np.array([taped.first for taped in surveyed.distances])
        second = np.array([taped.second for taped in surveyed.distances])
        place = surveyed.pose[:, :2] + self.about.survey[:, :2]
        line = place[second] - place[first]
        length = np.hypot(*line.T)
        std = np.array([taped.std_m for taped in surveyed.distances])
        taped_m = np.array([taped.length_m for taped in surveyed.distances])
        slope = np.zeros((len(std), 1, 3))
        slope[:, 0, :2] = line / (length * std)[:, np.newaxis]
        base = self._first[-1]
        slopes = ((base + 3 * first, -slope), (base + 3 * second, slope))
        return Block(((length - taped_m) / std)[:, np.newaxis], slopes, np.ones(len(std)))


def _inverse_root(covariance: FloatArray) -> FloatArray:
    """Return (n, 3, 3) that turn deviations into standard deviations."""
    # far-off numbers leave covariances whose digits do not suffice to be definite
    ample = _DIGITS * np.trace(covariance, axis1=-2, axis2=-1)[..., np.newaxis, np.newaxis] * np.eye(3)
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance + np.diag(_FLOOR) + ample)))


def _parity(drive: Drive, rolled: Rolled) -> Block:
    """Return the wheels' contradictions, summed up over short whiles."""
    first = whiles(drive.wheels.time_s)
    total = np.add.reduceat(rolled.parity, first, axis=0)
    variance = np.add.reduceat(rolled.parity_variance, first, axis=0) + rolled.parity_rounding
    return Block(total / np.sqrt(variance), (), np.ones(len(total)))
