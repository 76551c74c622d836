"""Every number that tracking turns on, with its unit and its reason."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.kalman import MotionModel
from vision.types import FloatArray


@dataclass(frozen=True)
class TrackingSettings:
    """Tuned on simulated clips of the development seeds. `nats` are natural logarithms of probabilities."""

    # Motion: a player at full speed cuts with some 7 yd/s2 for half a second; a lineman in the pile hardly moves.
    still_density: float = 2.0          # yd2/s3 of a man standing
    density_per_speed: float = 2.5      # more for every yd/s
    max_density: float = 12.0
    speed_window_s: float = 0.8         # over which a man's own speed is taken
    speed_sigma_yd_s: float = 3.0       # of somebody first seen
    outlier: float = 9.0                # squared Mahalanobis distance beyond which a box counts for less

    # A box as a measurement of the feet, in shares of its height: sure boxes are exact, doubtful ones (covered men) are not.
    middle_sigma: float = 0.02          # sideways, of a box of full confidence
    doubtful_middle_sigma: float = 0.07  # more at no confidence, in proportion
    foot_sigma: float = 0.03            # up and down, of a box of full confidence
    doubtful_foot_sigma: float = 0.048  # more at no confidence
    covered_foot_sigma: float = 0.12    # more again where nearer people cover the feet
    jitter_share: float = 0.4           # of the ground's sigma that changes from frame to frame
    other_view_sigma_yd: float = 0.3    # two cameras see different feet of the same man, each box errs its own way
    size_sigma: float = 0.14            # of the logarithm of a box's height; bending and raising arms

    # Frame to frame.
    sure_confidence: float = 0.45       # boxes from here on are matched first
    birth_confidence: float = 0.35      # and may begin a track from here on: covered men have no better box
    birth_max_iou: float = 0.5          # unless they overlap a box already taken by this: a doubled box
    gate_nats: float = 9.0              # a match may cost this much more than an exact one
    coast_s: float = 0.4                # a tracklet without boxes ends after this long
    appearance_weight: float = 0.05     # share of the looks' log likelihood: where he was tells far more, and they err alike
    appearance_cap_nats: float = 8.0    # at most, of a box in full view; colours of a covered man lie

    # Joining tracklets over gaps.
    max_gap_s: float = 4.0
    vanish_nats: float = 9.0            # somebody ends or begins in the middle of the picture
    leave_nats: float = 4.5             # or at its border
    real_nats_box: float = 0.7          # but no more than this a box: few boxes are rather false than a vanished man
    missed_nats_s: float = 3.0          # a second without a box of somebody in full view
    missed_cap_nats: float = 12.0
    area_yd2: float = 2500.0            # where an unknown man may appear
    looks_nats: float = 2.0             # against two pieces whose looks lie e times farther apart (squared), beyond
    looks_scale: float = 10.0           # this, in a person's own variances: who turns round shows other colours
    exchange_nats: float = 0.5          # two tracks exchange their futures if that explains the boxes better by this

    # Who counts as a person in the end.
    min_boxes: int = 5
    min_life_s: float = 0.3
    min_seen_share: float = 0.15        # of the frames of his life
    doubled_iou: float = 0.55           # two tracks that share their boxes by this on average are one person

    # Writing out.
    smoothing_trust: float = 0.5        # the feet's covariance for smoothing, as a share of the box's own
    alike_boxes: float = 8.0            # a box errs like so many of its neighbours: the variance grows by as much
    body_sigma_yd: float = 0.2          # a man's middle against the middle of his box: strides and leaning
    stance_density: float = 0.2         # how fast a box's sides drift about the man, yd2/s3
    limbs_sigma_yd: float = 0.06        # arms and strides move the sides by this
    limbs_s: float = 0.2                # for about this long

    @property
    def motion(self) -> MotionModel:
        """How men are first seen and how wild boxes count."""
        return MotionModel(self.speed_sigma_yd_s, self.outlier)

    def density(self, speed_yd_s: FloatArray) -> FloatArray:
        """Power density of the acceleration (yd2/s3) of men at this speed."""
        grown: FloatArray = np.minimum(self.still_density + self.density_per_speed * speed_yd_s, self.max_density)
        return grown
