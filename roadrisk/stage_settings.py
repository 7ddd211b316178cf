"""``[stages]`` of study.toml: life stages and their rates, for a projection."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from roadrisk.table_settings import Section

_Chance = Annotated[float, Field(gt=0, lt=1)]
_Young = Annotated[float, Field(ge=0, le=1e5)]
_Years = Annotated[float, Field(ge=1, le=200)]


class StageSection(Section):
    """``[[stages.stage]]``: one stage of life, in the order in which animals pass them.

    Attributes
    ----------
    name : str
    survival_low, survival_high : float
        Share that lives on for a year: a range that holds about 90 %.
    years : float or None
        How long animals stay in the stage [years]; left out in the last.
    young_low, young_high : float
        Daughters in the first stage that a female of this stage has each year, counted right
        after breeding, if she lives to breed.
    road_deaths : bool
        Whether the share that dies on roads holds for this stage.
    """

    name: str = Field(min_length=1, max_length=80)
    survival_low: _Chance
    survival_high: _Chance
    years: _Years | None = None
    young_low: _Young = 0.0
    young_high: _Young = 0.0
    road_deaths: bool = False

    @model_validator(mode="after")
    def _ordered(self) -> StageSection:
        if self.survival_low > self.survival_high:
            raise ValueError("survival_low is above survival_high")
        if self.young_low > self.young_high:
            raise ValueError("young_low is above young_high")
        if self.young_low == 0 < self.young_high:
            raise ValueError("young_low is 0 and young_high isn't: give a low end above 0")
        return self


class StagesSection(Section):
    """``[stages]``.

    Attributes
    ----------
    survival_includes_road_deaths : bool
        Whether survival was measured where roads kill too (then the projection without road
        deaths adds them back), or not (then the one with them takes them off).
    source : str
        Where the rates come from; it stands beside the result.
    stage : tuple of StageSection
    """

    survival_includes_road_deaths: bool
    source: str = Field(min_length=1, max_length=300)
    stage: tuple[StageSection, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _whole_life(self) -> StagesSection:
        names = [s.name for s in self.stage]
        if len(set(names)) < len(names):
            raise ValueError("two stages have one name")
        if any(s.years is None for s in self.stage[:-1]):
            raise ValueError("years may be left out in the last stage only")
        if not any(s.young_high > 0 for s in self.stage):
            raise ValueError("no stage has young (young_low, young_high)")
        if not any(s.road_deaths for s in self.stage):
            raise ValueError("no stage has road_deaths = true: with and without would be the same")
        return self
