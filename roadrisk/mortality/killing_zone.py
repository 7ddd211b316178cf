"""How long an animal is where a vehicle kills it, and whether it stops: draws with sources."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.seeds import generator

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.kill_settings import KillSection
    from roadrisk.species import Profile
    from roadrisk.species.values import Value

    Floats = NDArray[np.float64]

_HALF_90 = 1.6448536269514722  # 95 % point of the standard normal


@dataclass(frozen=True, eq=False)
class KillingZone:
    """What an animal does on the road, one value a draw and the same for all roads.

    Attributes
    ----------
    width_m : ndarray, shape (draws,)
        Strip of a lane on which a vehicle kills [m].
    speed_m_min : ndarray, shape (draws,)
        Typical walking speed [m/min].
    angle_deg : ndarray, shape (draws,)
        Of the way from square to the road [degrees].
    stop : ndarray, shape (draws,)
        Share of vehicles for which it stops.
    stop_minutes : ndarray, shape (draws,)
        How long [min].
    wander : ndarray, shape (draws,)
        0 if all wheels run in one track, 1 if each vehicle has its own.
    words : tuple of str
        Ranges and where they come from.
    """

    width_m: Floats
    speed_m_min: Floats
    angle_deg: Floats
    stop: Floats
    stop_minutes: Floats
    wander: Floats
    words: tuple[str, ...]


def draw_zone(profile: Profile, section: KillSection, seed: int, draws: int = 400) -> KillingZone:
    """Draw width, speed, angle and stops.

    Parameters
    ----------
    profile : Profile
        Walking speed, chance to stop, length of body.
    section : KillSection
        Its values take the profile's place.
    seed : int
        The study's.
    draws : int

    Returns
    -------
    KillingZone

    Notes
    -----
    The width is two tyres and between none and two lengths of the animal: none if a graze does
    no harm, two if any touch of either wheel kills (the project's own composition; that of Hels
    & Buchwald 2001 is of tyres and body too, from memory).
    """
    rng = generator(seed, "mortality.zone")
    body = _log_normal(profile.body.length_mm.log_normal(), rng, draws) / 1000.0
    tyre = _between(section.tyre_width_m_low, section.tyre_width_m_high, rng, draws)
    width = 2.0 * tyre + 2.0 * body * rng.random(draws)
    if section.killing_width_m_low is not None and section.killing_width_m_high is not None:
        width = _between(section.killing_width_m_low, section.killing_width_m_high, rng, draws)
    speed = _log_normal(profile.road.walking_speed_m_min.log_normal(), rng, draws)
    if section.walking_speed_m_min_low and section.walking_speed_m_min_high:
        low, high = section.walking_speed_m_min_low, section.walking_speed_m_min_high
        speed = _between(low, high, rng, draws)
    low, high = section.crossing_angle_deg_low, section.crossing_angle_deg_high
    angle = low + (high - low) * rng.random(draws)
    stop = _share(profile.road.chance_to_stop, rng, draws)
    stay = _between(section.stop_minutes_low, section.stop_minutes_high, rng, draws)
    words = _words(profile, section, width, speed, stop)
    return KillingZone(width, speed, angle, stop, stay, rng.random(draws), words)


def _log_normal(parameters: tuple[float, float], rng: np.random.Generator, draws: int) -> Floats:
    mean, sd = parameters
    return np.asarray(np.exp(mean + sd * rng.standard_normal(draws)))


def _between(low: float, high: float, rng: np.random.Generator, draws: int) -> Floats:
    """Log-normal values of which about 90 % lie between both ends."""
    sd = math.log(high / low) / (2 * _HALF_90)
    return _log_normal((math.log(low * high) / 2, sd), rng, draws)


def _share(value: Value, rng: np.random.Generator, draws: int) -> Floats:
    """Triangular with its top at the likely value, or even without one."""
    if value.low == value.high:
        return np.full(draws, value.low)
    if value.likely is None:
        return np.asarray(rng.uniform(value.low, value.high, draws))
    return np.asarray(rng.triangular(value.low, value.likely, value.high, draws))


def _range_words(values: Floats, unit: str) -> str:
    low, high = np.quantile(values, [0.05, 0.95])
    return f"{low:.2g} to {high:.2g} {unit}"


def _words(
    profile: Profile, section: KillSection, width: Floats, speed: Floats, stop: Floats
) -> tuple[str, ...]:
    given = section.killing_width_m_low is not None
    made = (
        "as [kill] gives it"
        if given
        else "two tyres (their width from memory) and none to two lengths of the animal"
    )
    road = profile.road
    source = (
        "[kill]" if section.walking_speed_m_min_low else "; ".join(road.walking_speed_m_min.source)
    )
    return (
        f"Strip of a lane on which a vehicle kills: {_range_words(width, 'm')}, {made}.",
        f"Walking speed: {_range_words(speed, 'm/min')} ({source}). Where a source measured "
        "speed with pauses in it, stops count twice.",
        f"An animal stops for {_range_words(100 * stop, '%')} of vehicles "
        f"({'; '.join(road.chance_to_stop.source)}) and then stays {section.stop_minutes_low:g} "
        f"to {section.stop_minutes_high:g} minutes (from memory). A stop kills only where a later "
        "vehicle runs over the place: whether wheels keep to one track is not known, and the "
        "range goes from one track to any.",
        f"Ways across lean {section.crossing_angle_deg_low:g} to "
        f"{section.crossing_angle_deg_high:g} degrees from square (from memory).",
    )
