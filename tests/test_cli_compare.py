"""The command that compares before and after works, on a small invented study."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest

from roadrisk.analysis import compare_works
from roadrisk.cli import main
from roadrisk.mitigation.works_compared import NO_ANIMALS, NO_SURVEYS, REPORTS
from roadrisk.records.study_folder import read_study
from roadrisk.reporting.compare_page import FILES
from tests.hostile.broken_folders import FIXES, change, good_folder, put
from tests.mitigation.compared_world import FAR, FENCE, HEAD, SITES, compared_folder

if TYPE_CHECKING:
    from pathlib import Path

LOGS = '[inspections]\nfile = "log.csv"\n[passage_use]\nfile = "use.csv"\n'


def _csv(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / name, encoding="utf-8-sig")


def _run(made: Path, out: Path) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["compare", str(made), "--out", str(out)])
    assert ended.value.code == 0


def test_whole_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Counts come from the planted carcasses; files, page and words say the same."""
    made = compared_folder(tmp_path, more=LOGS)
    put("log.csv", "eventDate,site,breaches,mended\n2021-05-01,fence,2,no\n2022-05-01,fence,0,\n")(
        made
    )
    put("use.csv", "site,structure,from_date,to_date,camera_days,animals\n"
        "fence,K1,2021-05-01,2021-08-08,,12\n")(made)  # fmt: skip
    _run(made, tmp_path / "out")
    said = capsys.readouterr().out
    assert "fence, works: Fewer deaths: 15 carcasses at the works before and 4 after" in said
    table = _csv(tmp_path / "out", "compare.csv")
    first = table.iloc[0]
    assert (first["before"], first["after"]) == (sum(FENCE[1:4]), sum(FENCE[4:]))
    assert (first["control_before"], first["control_after"]) == (sum(FAR[1:4]), sum(FAR[4:]))
    assert first["verdict"] == "fewer deaths"
    assert first["ratio_high"] < 1
    years = _csv(tmp_path / "out", "compare_years.csv")
    fence = years[years["site"] == "fence"].set_index("year")
    assert list(fence["counted"]) == list(FENCE)
    assert fence.loc[2017, "left_out"] == "led to the choice of the site"
    assert fence.loc[2021, "first_day"] == "2021-03-02"
    plan = _csv(tmp_path / "out", "compare_plan.csv")
    assert set(plan["control"]) == {"with control", "without control"}
    assert (plan["chance_to_see_halving"].between(0, 1)).all()
    page = (tmp_path / "out" / "compare.html").read_text(encoding="utf-8")
    assert str(first["words"]) in page
    for words in (REPORTS, NO_ANIMALS, "2 inspections, 1 of them with breaches (2 in all), 1 left",
                  "12 animals in 100 camera-days"):  # fmt: skip
        assert escape(words) in page
    told = _csv(tmp_path / "out", "columns.csv")
    there = {(f, c) for f in (*FILES, "columns.csv") for c in _csv(tmp_path / "out", f)}
    assert set(zip(told["file"], told["column"], strict=True)) == there


def test_spacing_of_searches_fakes_nothing(tmp_path: Path) -> None:
    """Searched half as often after: effort falls with the chance of counting, not with km."""
    made = compared_folder(tmp_path)
    text = (made / "surveys.csv").read_text(encoding="utf-8").splitlines()
    used = (made / "sightings.csv").read_text(encoding="utf-8")
    late = [r for r in text[1:] if r.split(",")[1] >= "2021"]
    dropped = {r for r in late[::2] if f",{r.split(',')[0]}," not in used}
    put("surveys.csv", "\n".join(r for r in text if r not in dropped) + "\n")(made)
    found = compare_works(read_study(made))
    years = found.years[found.years["site"] == "fence"].set_index("year")
    km = years["km_searched"][2023] / years["km_searched"][2019]
    effort = years["effort"][2023] / years["effort"][2019]
    assert km < 0.6
    assert km + 0.1 < effort < 0.95


def test_without_trials(tmp_path: Path) -> None:
    """Effort is km then, and what searches are worth is not identified."""
    found = compare_works(read_study(compared_folder(tmp_path, trials=False)))
    first = found.table.iloc[0]
    assert first["effort_before"] == pytest.approx(3 * 7.19, abs=0.05)
    assert first["verdict"] == "fewer deaths"
    assert found.effort.empty
    assert any("not identified: no trials" in note for note in found.notes)


def test_worth_of_effort(tmp_path: Path) -> None:
    """With hours told: closer searches count more of the dead on less road; trials cost road."""
    made = compared_folder(tmp_path)
    text = (made / "surveys.csv").read_text(encoding="utf-8").splitlines()
    head = text[0] + ",samplingEffort"
    put("surveys.csv", "\n".join([head, *(r + ",0.8 hours" for r in text[1:])]) + "\n")(made)
    effort = compare_works(read_study(made)).effort.set_index(["days_between_searches", "trials"])
    assert effort.loc[(1, 15), "chance_counted"] > effort.loc[(7, 15), "chance_counted"]
    assert effort.loc[(1, 15), "km_each_search"] < effort.loc[(7, 15), "km_each_search"]
    assert effort.loc[(7, 15), "km_each_search"] > effort.loc[(7, 30), "km_each_search"]
    assert (effort["times_wide"].dropna() > 1).all()
    assert effort["times_wide"].notna().any()


def test_crossings(tmp_path: Path) -> None:
    """Tagged animals: days within reach are the effort; so few can't tell, and that is said."""
    made = compared_folder(tmp_path)
    change("sites.csv", "2021-02-01,2021-03-01,2017,2017", "2024-05-06,2024-05-06,,")(made)
    put("fixes.csv", FIXES)(made)
    found = compare_works(read_study(made))
    rows = found.table[found.table["what"] == "crossings"]
    assert len(rows) == 1
    assert rows.iloc[0]["verdict"] in ("too few to tell", "not identified")
    crossed = found.years[found.years["what"] == "crossings"].set_index(["site", "period"])
    # Animal 007 was within reach from 1 May, 9:30, to 5 May, 8:00, 008 from noon to noon, 1-4 May.
    assert crossed.loc[("fence", "before"), "effort"] == pytest.approx(3.9375 + 3.0)


def test_without_surveys(tmp_path: Path) -> None:
    """Nothing is said of deaths then: why stands there."""
    made = good_folder(tmp_path / "s")
    change("study.toml", "[traffic]", '[compare]\nfile = "sites.csv"\n\n[traffic]')(made)
    put("sites.csv", HEAD + SITES)(made)
    found = compare_works(read_study(made))
    assert NO_SURVEYS in found.notes
    assert not (found.table["what"] == "deaths").any()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("far,control", "far,contrl", "no kind of site"),
        ("2021-03-01", "", "without the day"),
        ("2021-03-01", "soon", "can't be read as a date"),
        ("2021-02-01,2021-03-01", "2021-04-01,2021-03-01", "finished before they began"),
        (",2017,2017", ",2018,2017", "not in order"),
        (",2017,2017", ",17,2017", "no year"),
        ("far,control,", "far,control,other", "no works site 'other'"),
        ("far,control,,R12,3.65,3.85", "far,control,,R12,3.35,3.85", "share a piece of road"),
        ("far,control,,R12,3.65,3.85", "far,control,,R99,3.65,3.85", "R99"),
        ("fence,works,,R12,3.20,3.40,2021-02-01,2021-03-01,2017,2017\n", "", "no site has works"),
        ("fence,works", "far,works", "told otherwise"),
    ],
)
def test_broken_sites(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, says: str
) -> None:
    """Each fault is one line that names the file; nothing is written."""
    made = compared_folder(tmp_path)
    change("sites.csv", old, new)(made)
    with pytest.raises(SystemExit) as ended:
        main(["compare", str(made), "--out", str(tmp_path / "out")])
    assert ended.value.code == 2
    lines = capsys.readouterr().err.splitlines()
    assert any("sites.csv" in line and says in line for line in lines), lines
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("log.csv", "eventDate,site,breaches,mended\n2021-05-01,fence,-2,no\n", "whole number"),
        ("log.csv", "eventDate,site,breaches,mended\n2021-05-01,fence,2,perhaps\n", "yes or no"),
        ("log.csv", "eventDate,site,breaches\n,fence,2\n", "no date"),
        ("log.csv", "eventDate,site,breaches\n2021-05-01,gate,2\n", "no site 'gate'"),
        (
            "use.csv",
            "site,from_date,to_date,animals\nfence,2021-05-02,2021-05-01,2\n",
            "taken down",
        ),
        ("use.csv", "site,from_date,to_date,animals\ngate,2021-05-01,2021-05-02,2\n", "no site"),
        ("use.csv", "site,from_date,animals\nfence,2021-05-01,2\n", "no column to_date"),
    ],
)
def test_broken_logs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, text: str, says: str
) -> None:
    """Likewise in the log of inspections and the use of passages."""
    made = compared_folder(tmp_path, more=LOGS)
    put("log.csv", "eventDate,site,breaches,mended\n2021-05-01,fence,2,no\n")(made)
    put("use.csv", "site,from_date,to_date,animals\nfence,2021-05-01,2021-05-02,2\n")(made)
    put(name, text)(made)
    with pytest.raises(SystemExit) as ended:
        main(["compare", str(made), "--out", str(tmp_path / "out")])
    assert ended.value.code == 2
    lines = capsys.readouterr().err.splitlines()
    assert any(name in line and says in line for line in lines), lines


def test_no_section(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A study without [compare] gets one line."""
    with pytest.raises(SystemExit):
        main(["compare", str(good_folder(tmp_path / "s"))])
    assert "[compare]" in capsys.readouterr().err


def test_us_units(tmp_path: Path) -> None:
    """Miles in the tables, and described."""
    made = compared_folder(tmp_path)
    change("study.toml", "invented = true", 'invented = true\nunits = "us"')(made)
    _run(made, tmp_path / "out")
    years = _csv(tmp_path / "out", "compare_years.csv")
    assert np.isclose(years["miles_searched"].iloc[-1], 7.19 / 1.609, atol=0.01)
