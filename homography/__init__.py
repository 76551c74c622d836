"""Picture and field: `Observer` looks at frames, `solve_clip` registers the clip, `locate` puts tracks on it."""

from homography.evidence import FrameEvidence
from homography.locate import locate
from homography.observe import Observer
from homography.solve import solve_clip, solve_or_guess
from homography.still import solve_still
from homography.types import FieldTracks, FieldView
from homography.view import sigma_at, to_field, to_image

__all__ = ["FieldTracks", "FieldView", "FrameEvidence", "Observer", "locate", "sigma_at", "solve_clip", "solve_or_guess",
           "solve_still", "to_field", "to_image"]
