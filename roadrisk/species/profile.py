"""The profile of a species, typed and strict."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Literal

from pydantic import Field, ValidationError, field_validator, model_validator

from roadrisk.base.strict_model import model_remarks
from roadrisk.errors import InputError, Remark
from roadrisk.species.sex_features import SexFeatures  # noqa: TC001  pydantic needs it
from roadrisk.species.values import (
    Area,
    AYear,
    Distance,
    Hours,
    HoursADay,
    Length,
    Minutes,
    Month,
    Part,
    Share,
    Speed,
    Spell,
    Value,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

CHI2_95_TWO_DF = 5.991464547107979  # 95 % point of the chi-square with 2 degrees of freedom


class Road(Part):
    """``[road]``: on the road.

    Attributes
    ----------
    walking_speed_m_min : Value
        Speed while walking across a road, stops left out [m/min].
    chance_to_stop : Value
        Share of encounters with a vehicle in which the animal stops on the road.
    """

    walking_speed_m_min: Speed
    chance_to_stop: Share


class Body(Part):
    """``[body]``: size of an adult.

    Attributes
    ----------
    length_mm : Value
        Of the carapace for turtles, snout to vent for toads [mm].
    """

    length_mm: Length


class Season(Part):
    """``[season]``: first and last month in which animals move about."""

    first_month: Month
    last_month: Month


class Active(Part):
    """``[active]``: when, and for how long, animals move about on a day of the season.

    Attributes
    ----------
    hours : tuple of Spell
        Local clock; the hours in which movement happens at all.
    daily_hours : Value
        How much of that an animal spends moving, pauses of minutes included [h/day].
    """

    hours: tuple[Spell, ...] = Field(min_length=1)
    daily_hours: HoursADay

    @field_validator("hours")
    @classmethod
    def _for_any_month(cls, spells: tuple[Spell, ...]) -> tuple[Spell, ...]:
        missing = set(range(1, 13)) - {m for s in spells for m in s.months}
        if missing and all(s.months for s in spells):
            raise ValueError(
                "no spell holds for the month(s) "
                f"{', '.join(map(str, sorted(missing)))}: add one without months for the rest"
            )
        return spells

    def spells(self, month: int) -> tuple[Spell, ...]:
        """Return the spells of one month (1–12): those that name it, else those without months."""
        named = tuple(s for s in self.hours if month in s.months)
        return named or tuple(s for s in self.hours if not s.months)

    def hour_shares(self, month: int) -> tuple[float, ...]:
        """Return, for each of the 24 clock hours, the share of it that lies in a spell.

        Parameters
        ----------
        month : int
            1–12.

        Returns
        -------
        tuple of 24 float
            0 to 1; hour h runs from h to h + 1 on the local clock. Their sum is the length of
            the active day [h].
        """
        spells = self.spells(month)
        return tuple(min(1.0, sum(s.share_of_hour(h) for s in spells)) for h in range(24))


class HomeRange(Part):
    """``[home_range]``: how much ground an adult uses in a year.

    Attributes
    ----------
    area_ha : Value
        Minimum convex polygon or 95 % kernel, as the source has it [ha].
    diameter_m : Value
        Longest extent [m].
    """

    area_ha: Area
    diameter_m: Distance


class Movement(Part):
    """``[movement]``: priors for a process that comes home and has a finite speed.

    Time is active time: it runs only in the active hours of the season. With position and
    velocity both of the Ornstein–Uhlenbeck kind, the velocity's variance on each axis is
    home_sd² / (tau_home · tau_velocity), and the mean speed along the path is sqrt(pi / 2)
    times its root; so any three of the four values below give the fourth, and the ranges
    say how well.

    Attributes
    ----------
    path_speed_m_min : Value
        Length of the path, as a thread trail would show it, over the active time, pauses
        included [m/min].
    tau_velocity_minutes : Value
        Time over which direction and speed are forgotten, which stands for how winding the
        path is and not for pauses [min of active time].
    tau_home_hours : Value
        Time of coming home [h of active time].
    home_sd_m : Value
        Standard deviation of the home range on each axis [m]. A profile that leaves it out
        has it derived from the home range's area (`home_sd_from_area`).
    """

    path_speed_m_min: Speed
    tau_velocity_minutes: Minutes
    tau_home_hours: Hours
    home_sd_m: Distance


class Population(Part):
    """``[population]``.

    Attributes
    ----------
    tolerable_added_mortality : Value
        Share of the adults that may die each year on top of natural deaths before the
        population goes down [share/year]. Sources conflict: the range is a caution band, and
        no proof of safety below it.
    """

    tolerable_added_mortality: AYear


class Profile(Part):
    """What is known of a species.

    Attributes
    ----------
    scientific_name, common_name : str
    also_called : tuple of str
        Other scientific names.
    habitat : {"land", "freshwater", "any"}
        Where adults spend most of the active season.
    note : str
    road : Road
    body : Body
    season : Season
    active : Active
    home_range : HomeRange
    movement : Movement
    population : Population
    sex_features : SexFeatures or None
        None where no rule is known.
    """

    scientific_name: str = Field(min_length=1)
    common_name: str = Field(min_length=1)
    also_called: tuple[str, ...] = ()
    habitat: Literal["land", "freshwater", "any"]
    note: str = ""
    road: Road
    body: Body
    season: Season
    active: Active
    home_range: HomeRange
    movement: Movement
    population: Population
    sex_features: SexFeatures | None = None

    @model_validator(mode="before")
    @classmethod
    def _with_home_sd(cls, data: Any) -> Any:
        return _home_sd_filled_in(data)

    def months(self, width: Literal["narrow", "likely", "wide"] = "likely") -> tuple[int, ...]:
        """Return the active months (1–12) in the season's order.

        Parameters
        ----------
        width : {"narrow", "likely", "wide"}
            Shortest, likely or longest season that the ranges allow.

        Returns
        -------
        tuple of int
            May pass the year's end, as in 10, 11, 12, 1, 2.
        """
        first, last = self.season.first_month, self.season.last_month
        ends = {
            "narrow": (first.high, last.low),
            "likely": (first.middle, last.middle),
            "wide": (first.low, last.high),
        }[width]
        begin, end = (round(m) for m in ends)
        return tuple((begin - 1 + i) % 12 + 1 for i in range((end - begin) % 12 + 1))

    def values(self) -> Iterator[tuple[str, Value]]:
        """Yield every value with its dotted key, in the order of the file."""
        for part in type(self).model_fields:
            section = getattr(self, part)
            if isinstance(section, Part):
                for key in type(section).model_fields:
                    value = getattr(section, key)
                    if isinstance(value, Value):
                        yield f"{part}.{key}", value


def profile_from(data: dict[str, Any], file: str) -> Profile:
    """Return the profile in a parsed TOML file.

    Parameters
    ----------
    data : dict
        What `tomllib.load` returns.
    file : str
        Name to show in errors.

    Returns
    -------
    Profile

    Raises
    ------
    InputError
        All problems at once: unknown keys with the nearest right one, values without a
        source, ranges the wrong way round, wrong units.
    """
    try:
        return Profile.model_validate(data)
    except ValidationError as error:
        remarks = model_remarks(error, Profile, file)
        area_is_wrong = any(r.column.startswith("home_range") for r in remarks)
        raise InputError(
            _about_source(r)
            for r in remarks
            if not (area_is_wrong and r.column.startswith("movement.home_sd_m"))
        ) from None


def same_species(profile: Profile, scientific_name: str) -> bool:
    """Return whether a profile is of that species, by genus and species name."""
    names = (profile.scientific_name, *profile.also_called)
    return _binomial(scientific_name) in {_binomial(n) for n in names}


def home_sd_from_area(area_ha: float) -> float:
    """Return the standard deviation on each axis of a round bivariate normal home range [m].

    Parameters
    ----------
    area_ha : float
        Area that holds 95 % of the use [ha].

    Returns
    -------
    float
        From area95 = 5.991 · pi · sd²: 5.991 is the 95 % point of the chi-square with 2
        degrees of freedom (textbook).

    Notes
    -----
    A minimum convex polygon is put in for the 95 % area, which is rough: it grows with the
    number of fixes, and real ranges are neither round nor normal.
    """
    return math.sqrt(area_ha * 10_000 / (CHI2_95_TWO_DF * math.pi))


def _binomial(name: str) -> str:
    return " ".join(name.split()[:2]).casefold()


def _about_source(remark: Remark) -> Remark:
    if remark.column.endswith(".source") and "missing" in remark.problem:
        mend = 'add source = "…": a citation, "from memory", "common practice", or your own data'
        return Remark(remark.file, None, remark.column, "a value without a source.", mend)
    return remark


def _home_sd_filled_in(data: Any) -> Any:
    if not isinstance(data, dict) or not isinstance(data.get("movement"), dict):
        return data
    if "home_sd_m" in data["movement"]:
        return data
    try:
        area = Value.model_validate(data["home_range"]["area_ha"])
    except (KeyError, TypeError, ValidationError):  # said where the area stands
        return data
    if area.low <= 0:
        return data
    sd = {
        "unit": "m",
        "source": "derived from home_range.area_ha: area95 = 5.991·pi·sd² (round bivariate normal)",
        "low": home_sd_from_area(area.low),
        "likely": home_sd_from_area(area.middle),
        "high": home_sd_from_area(area.high),
    }
    return {**data, "movement": {**data["movement"], "home_sd_m": sd}}
