"""The light of a clip: sun, floodlights or overcast, colour, haze, wetness and weather."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]


@dataclass(frozen=True)
class Light:
    """`lamps` are (unit direction toward the lamp, share of the light that its shadow takes away). `ambient` is the share
    of full brightness on a side that no lamp meets; `tint_bgr` colours everything; `haze` is the density per 100 yd toward
    `haze_bgr`; `wet` 0..1 adds shine. `weather` is clear, rain, snow or fog."""

    lamps: tuple[tuple[Array, float], ...]
    ambient: float
    tint_bgr: tuple[float, float, float]
    sky_bgr: tuple[float, float, float]
    haze: float
    haze_bgr: tuple[float, float, float]
    wet: float
    weather: str
    night: bool

    @property
    def main(self) -> Array:
        """Unit direction toward the strongest lamp (straight up if there is none)."""
        return self.lamps[0][0] if self.lamps else np.array([0.0, 0.0, 1.0])


def direction(azimuth_rad: float, elevation_rad: float) -> Array:
    """Unit vector toward (azimuth, elevation) in the field frame."""
    c = np.cos(elevation_rad)
    return np.array([c * np.cos(azimuth_rad), c * np.sin(azimuth_rad), np.sin(elevation_rad)])


def random_light(rng: np.random.Generator) -> Light:
    """Sun (high or low), overcast, floodlights or fading light, now and then with rain, snow or fog."""
    kind = rng.choice(["sun", "low-sun", "overcast", "flood"], p=[0.42, 0.16, 0.22, 0.2])
    weather = str(rng.choice(["clear", "rain", "snow", "fog"], p=[0.86, 0.06, 0.03, 0.05]))
    azimuth = float(rng.uniform(0, 2 * np.pi))
    warm = float(rng.normal(0, 0.035))
    tint = (1.0 - warm, 1.0, 1.0 + warm)
    sky = (float(rng.uniform(0.75, 0.95)), float(rng.uniform(0.62, 0.8)), float(rng.uniform(0.45, 0.68)))
    haze, ambient = float(rng.uniform(0.0, 0.12)), float(rng.uniform(0.5, 0.68))
    lamps: tuple[tuple[Array, float], ...]
    if kind == "sun":
        lamps = ((direction(azimuth, rng.uniform(0.55, 1.25)), float(rng.uniform(0.35, 0.62))),)
    elif kind == "low-sun":
        lamps = ((direction(azimuth, rng.uniform(0.16, 0.5)), float(rng.uniform(0.4, 0.65))),)
        tint = (0.86 - abs(warm), 0.97, 1.1)
    elif kind == "overcast":
        lamps = ()
        sky = (0.86, 0.85, 0.83)
        ambient = float(rng.uniform(0.72, 0.85))
    else:
        count = int(rng.integers(3, 6))
        lamps = tuple(
            (
                direction(azimuth + 2 * np.pi * i / count + rng.normal(0, 0.2), rng.uniform(0.4, 0.8)),
                float(rng.uniform(0.1, 0.24)),
            )
            for i in range(count)
        )
        sky = (0.12, 0.09, 0.08)
        ambient = float(rng.uniform(0.6, 0.75))
    if weather != "clear":
        lamps = () if kind != "flood" else lamps
        haze = {"rain": 0.25, "snow": 0.3, "fog": float(rng.uniform(0.4, 0.9))}[weather]
    grey = float(rng.uniform(0.6, 0.85)) * (0.4 if kind == "flood" else 1.0)
    return Light(
        lamps,
        ambient,
        tint,
        sky,
        haze,
        (grey, grey * 0.99, grey * 0.97),
        float(rng.uniform(0.2, 0.8)) if weather == "rain" else 0.0,
        weather,
        kind == "flood",
    )
