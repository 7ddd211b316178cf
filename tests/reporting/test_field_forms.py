"""Printable forms: by hand, every column that a form names is one that is read."""

from __future__ import annotations

import re

from roadrisk.records.columns import TERMS
from roadrisk.records.schemas import CARCASS_ACTIONS
from roadrisk.records.survey_schemas import TRIAL_KINDS
from roadrisk.reporting.field_forms import (
    SURVEY_FORM,
    TRIAL_FORM,
    survey_form,
    trial_form,
    write_field_forms,
)
from roadrisk.reporting.wording import SAFETY

NAMES = re.compile(r"\b[a-z]+(?:[A-Z][a-z]+|ID)+\b|\b[a-z]+(?:_[a-z]+)+\b")


def test_the_columns_that_forms_name_are_read():
    known = {*TERMS["surveys"], *TERMS["sightings"], *TERMS["trials"]}
    for form, least in ((survey_form(), 10), (trial_form(), 6)):
        words = re.sub(r"<style>.*?</style>", "", form, flags=re.DOTALL)
        named = set(NAMES.findall(re.sub(r"<[^>]+>", " ", words)))
        assert named <= known
        assert len(named) >= least


def test_what_a_survey_form_must_ask_for():
    form = survey_form()
    assert "None found" in form
    for action in CARCASS_ACTIONS:
        assert action in form
    for protocol in ("walk", "bicycle", "car"):
        assert protocol in form


def test_trials_and_cautions():
    form = trial_form()
    for kind in TRIAL_KINDS:
        assert f"trial: {kind}" in form
    for text in (survey_form(), form):
        assert SAFETY[0] in text
        assert "permit" in text
        assert "high-visibility" in text
        assert "Gloves" in text
        assert "<script" not in text
        assert "http" not in text


def test_forms_that_are_there_stay(tmp_path):
    (tmp_path / SURVEY_FORM).write_text("mine")
    assert [p.name for p in write_field_forms(tmp_path)] == [TRIAL_FORM]
    assert (tmp_path / SURVEY_FORM).read_text() == "mine"
    assert write_field_forms(tmp_path) == ()
