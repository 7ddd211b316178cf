"""What is thought about the movement of a species before its fixes are looked at."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

Range = tuple[float, float]
# A range is meant to hold 95 %: half its width on the log scale is this many deviations.
_HALF_95 = 1.959963984540054


@dataclass(frozen=True)
class MovementPrior:
    """Ranges that are thought to hold 95 %; between them log-normal.

    The defaults are wide, for small slow animals, and are a choice of this project.

    Attributes
    ----------
    home_h : (float, float)
        Active hours after which the animal has forgotten where in its home it was.
    turn_h : (float, float)
        Active hours after which it has forgotten in which direction it walked: how winding
        its path is, as a trailed thread shows it (pauses don't make a path winding). Without
        bursts of close fixes this range alone decides how many crossings there and back
        there are.
    spread_m : (float, float)
        Standard deviation of its places about a centre, on an axis [m].
    stay_days : (float, float)
        Days around a centre of activity before a centre is chosen anew.
    speed_m_per_h : (float, float) or None
        Length of path in an active hour, rests included, where it is known (thread-trailing).
    longish : float
        How much longer than wide a home may be: deviation of the home's two shape numbers
        (`movement_process.home_shape`).
    alike : float
        How different animals of a species are: deviation of the logs of their own values
        from the species' common ones.
    """

    home_h: Range = (2.0, 150.0)
    turn_h: Range = (0.04, 3.0)
    spread_m: Range = (5.0, 300.0)
    stay_days: Range = (2.0, 40.0)
    speed_m_per_h: Range | None = None
    longish: float = 0.4
    alike: float = 0.6

    def scales(self) -> tuple[np.ndarray, np.ndarray]:
        """Return means and deviations of ln tau, ln tau_v and ln sigma, shape (3,) each."""
        pairs = [log_range(r) for r in (self.home_h, self.turn_h, self.spread_m)]
        return np.array([m for m, _ in pairs]), np.array([s for _, s in pairs])

    def turning(self, factor: float) -> MovementPrior:
        """Return the same with `turn_h` multiplied by a factor."""
        low, high = self.turn_h
        return replace(self, turn_h=(low * factor, high * factor))


def log_range(held: Range) -> tuple[float, float]:
    """Return mean and deviation of the log of a value of which 95 % lie in a range."""
    low, high = np.log(held[0]), np.log(held[1])
    return float((low + high) / 2), float((high - low) / (2 * _HALF_95))


def log_prior(pars: np.ndarray, prior: MovementPrior) -> np.ndarray:
    """Log density of the process's own parameters under the prior.

    Parameters
    ----------
    pars : ndarray, shape (m, 5 or more)
        As `movement_fit` orders them.
    prior : MovementPrior

    Returns
    -------
    ndarray, shape (m,)
        Without the constant of the speed's factor.
    """
    mean, sd = prior.scales()
    z = (pars[:, :3] - mean) / sd
    total = -0.5 * (z**2).sum(axis=1) - np.log(sd).sum() - 1.5 * np.log(2 * np.pi)
    shape = pars[:, 3:5] / prior.longish
    total -= 0.5 * (shape**2).sum(axis=1) + 2 * np.log(prior.longish) + np.log(2 * np.pi)
    if prior.speed_m_per_h is not None:
        centre, width = log_range(prior.speed_m_per_h)
        total -= 0.5 * ((np.log(mean_speed(pars)) - centre) / width) ** 2
    return np.asarray(total)


def mean_speed(pars: np.ndarray) -> np.ndarray:
    """Mean length of path in an active hour [m/h], shape (m,).

    The velocity's deviation on an axis is sigma / sqrt(tau tau_v), and the mean length of a
    normal velocity in the plane is sqrt(pi / 2) times that (round home).
    """
    return np.asarray(np.sqrt(np.pi / 2) * np.exp(pars[:, 2] - (pars[:, 0] + pars[:, 1]) / 2))
