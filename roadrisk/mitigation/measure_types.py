"""What a measure is: effect, design, pay items, precedents, each with its source."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from roadrisk.mitigation_settings import MeasureKey  # noqa: TC001  pydantic reads it at run time
from roadrisk.records.pay_items import pay_items

Grade = Literal[
    "before-after with controls", "before-after or comparison", "computed", "given by the study",
    "opinion or other taxa", "none found",
]  # fmt: skip
GRADES: dict[Grade, str] = {
    "before-after with controls": "counted before and after, there and on roads without it",
    "before-after or comparison": "counted before and after, or with and without it, but not both",
    "computed": "worked out from when animals cross and when vehicles pass, not measured",
    "given by the study": "the study's own range",
    "opinion or other taxa": "no study of it on small slow animals: advice, choice, other animals",
    "none found": "nothing was found that measures it",
}
"""What each grade of evidence means, best first; the project's own words."""

Per = Literal[
    "fence_m", "end", "passage", "culvert", "structure", "opening", "sign", "site", "inspection",
    "hour", "works",
]  # fmt: skip
"""What a pay item is counted by: metres of fence of both sides, ends of fences, new passages,
existing culverts, both together, openings, signs, sites, inspections a year and site, hours a
year; and works: a share of all the works."""

_Finite = Annotated[float, Field(allow_inf_nan=False)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Range(_Part):
    """A range of what is held possible.

    Attributes
    ----------
    low, likely, high : float
        5 % point, middle (half above, half below) and 95 % point.
    source : str
    grade : str
        One of `GRADES`.
    """

    low: _Finite
    likely: _Finite
    high: _Finite
    source: str = Field(min_length=1)
    grade: Grade = "none found"

    @model_validator(mode="after")
    def _in_order(self) -> Range:
        if not self.low <= self.likely <= self.high:
            raise ValueError(f"not in order: {self.low:g}, {self.likely:g}, {self.high:g}")
        return self


class Design(_Part):
    """How a measure is built: dimensions [m] and inspections; None was not reported."""

    passage_spacing_m: Range | None = None
    passage_width_m: Range | None = None
    height_m: Range | None = None
    burial_m: Range | None = None
    lip_m: Range | None = None
    mesh_mm: Range | None = None
    return_m: Range | None = None
    life_years: Range | None = None
    inspections_per_year: Range | None = None


class Precedent(_Part):
    """What was built somewhere and what came of it; "" was not reported, or couldn't be read.

    Attributes
    ----------
    place, road_type, species, years, cost, result, source : str
    read : {"source", "abstract", "memory"}
        What of the source was seen.
    """

    place: str = ""
    road_type: str = ""
    species: str = ""
    years: str = ""
    cost: str = ""
    result: str
    source: str
    read: Literal["source", "abstract", "memory"]

    @property
    def words(self) -> str:
        """The precedent in one sentence; what is empty is said to be not reported."""
        asked = {"place": self.place, "road": self.road_type, "species": self.species,
                 "year": self.years, "cost": self.cost}  # fmt: skip
        told = [value for value in asked.values() if value]
        silent = [name for name, value in asked.items() if not value]
        head = f"{', '.join(told)}: " if told else ""
        missing = f"; not reported: {', '.join(silent)}" if silent else ""
        seen = {"source": "", "abstract": "; abstract", "memory": "; from memory"}[self.read]
        return f"{head}{self.result} ({self.source}{seen}{missing})"


class Measure(_Part):
    """A measure.

    Attributes
    ----------
    key, name : str
    kind : {"barrier", "local"}
        A barrier moves deaths to its ends.
    effect : Range or None
        Share of deaths averted, at most 1, below 0 where more die; None: see `no_effect`.
    no_effect : str
        Why there is no effect.
    displaced : Range or None
        Of barriers: deaths that move to an end, for each averted close to it; may pass 1.
    end_distance_m : Range or None
        Of barriers: how far beyond an end they fall [m].
    design : Design
    items : tuple of (str, str, float)
        Pay item, what it is counted by (`Per`), how many for each.
    precedents : tuple of Precedent
    cautions : tuple of str
    """

    key: MeasureKey
    name: str
    kind: Literal["barrier", "local"]
    effect: Range | None = None
    no_effect: str = ""
    displaced: Range | None = None
    end_distance_m: Range | None = None
    design: Design = Design()
    items: tuple[tuple[str, Per, Annotated[float, Field(gt=0)]], ...]
    precedents: tuple[Precedent, ...] = ()
    cautions: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _whole(self) -> Measure:
        if (self.effect is None) == (not self.no_effect):
            raise ValueError("give an effect, or no_effect with the words why there is none")
        if self.effect is not None and self.effect.high > 1:
            raise ValueError("an effect above 1 averts more deaths than there are")
        if self.displaced is not None and self.displaced.low < 0:
            raise ValueError("displaced below 0: deaths don't come out of nowhere")
        if self.end_distance_m is not None and self.end_distance_m.low <= 0:
            raise ValueError("end_distance_m must be above 0")
        ends = (self.displaced is not None, self.end_distance_m is not None)
        if ends != (self.barrier, self.barrier):
            raise ValueError("barriers, and only they, have displaced and end_distance_m")
        unknown = [item for item, _, _ in self.items if item not in pay_items()]
        if unknown:
            raise ValueError(f"no pay item: {', '.join(unknown)}")
        return self

    @property
    def barrier(self) -> bool:
        """Whether it keeps animals off the road and moves some to its ends."""
        return self.kind == "barrier"

    @property
    def proven(self) -> bool:
        """Whether it is held likelier than not to avert deaths at all."""
        return self.effect is not None and self.effect.likely > 0

    @property
    def grade(self) -> str:
        """Grade of the evidence for its effect, one of `GRADES`."""
        return "none found" if self.effect is None else self.effect.grade

    @property
    def passage_spacing_m(self) -> float | None:
        """Longest distance between two passages [m]."""
        return _likely(self.design.passage_spacing_m)

    @property
    def height_m(self) -> float | None:
        """Height above ground [m]."""
        return _likely(self.design.height_m)

    @property
    def burial_m(self) -> float | None:
        """Depth in the ground [m]."""
        return _likely(self.design.burial_m)

    @property
    def lip_m(self) -> float | None:
        """Width of the lip that leans away from the road [m]."""
        return _likely(self.design.lip_m)

    @property
    def mesh_mm(self) -> float | None:
        """Width of the mesh [mm]; None: not reported."""
        return _likely(self.design.mesh_mm)

    @property
    def return_m(self) -> float:
        """Length of the turned-back end, one side [m]; 0 for measures without ends."""
        return _likely(self.design.return_m) or 0.0

    @property
    def life_years(self) -> float | None:
        """How long it lasts; None: not reported (the price list may say it by pay item)."""
        return _likely(self.design.life_years)

    @property
    def inspections_per_year(self) -> float:
        """Inspections a year."""
        return _likely(self.design.inspections_per_year) or 0.0


def _likely(value: Range | None) -> float | None:
    return None if value is None else value.likely
