"""What a user may set about the measurement, with the defaults and what they rest on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Settings of one measurement.

    Parameters
    ----------
    band : float
        Half-width of ``fills_the_print`` about zero overreach (m); about half a hoof.
    band_share : float
        The same where the clip has no scale, as a share of the mean stride length.
    min_probability : float
        A class is named only when its probability is at least this; otherwise ``undecided``.
    mark_error_px : float
        Standard error first assumed for a hand-placed hoof mark, per axis (px); the clip's own marks correct it.
    floor_point_error_px : float
        Standard error of a hand-placed floor point or end of a known length, per axis (px).
    floor_point_error : float
        Standard error of a floor point's tape measurement, per axis (m).
    assumed_spread : float
        Stride-to-stride spread of overreach assumed before any is seen (m); weighs as much as
        ``assumed_spread_weight`` strides. Assumed, no published value was found for cattle.
    assumed_spread_share : float
        The same as a share of stride length.
    assumed_spread_weight : float
    """

    band: float = 0.06
    band_share: float = 0.05
    min_probability: float = 0.90
    mark_error_px: float = 1.0
    floor_point_error_px: float = 1.0
    floor_point_error: float = 0.005
    assumed_spread: float = 0.025
    assumed_spread_share: float = 0.018
    assumed_spread_weight: float = 3.0

    def __post_init__(self) -> None:
        for name in self.__slots__:
            if not getattr(self, name) > 0:
                raise ValueError(
                    f"{name} must be above zero, got {getattr(self, name)}; leave it out for the default"
                )
        if not 0.5 < self.min_probability < 1:
            raise ValueError(
                f"min_probability must lie between 0.5 and 1, got {self.min_probability}; 0.90 is usual"
            )
