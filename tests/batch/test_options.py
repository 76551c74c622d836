"""What is asked of the tagging goes into a job and comes out of it as it was."""

from __future__ import annotations

import json

import models
from tagger.batch.work import options_from_json, options_to_json
from tagger.football import Situation
from tagger.options import TagOptions


def test_options_come_back_and_name_the_weights_that_they_mean() -> None:
    usual, thorough, own = TagOptions(), TagOptions(thorough=True), TagOptions(weights=models.path("people.pt"), level="college")
    for asked in (usual, thorough, own, TagOptions(situation=Situation(down=3))):
        assert options_from_json(json.loads(json.dumps(options_to_json(asked))), 2) == asked.__class__(
            asked.weights, asked.device, asked.level, asked.detect_every, asked.situation, 2, asked.own, asked.thorough)
    digests = {options_to_json(asked)["weights_digest"] for asked in (usual, thorough, own)}
    assert len(digests) == 3  # film tagged with other weights is tagged anew
    assert thorough.detector_weights().name == "people_larger.onnx"
    assert TagOptions(thorough=True, device="cuda:0").detector_weights().name == "people_larger.pt"
    assert TagOptions(device="0").detector_weights().name == "people.pt"


def test_jobs_from_before_there_was_a_larger_detector_are_not_thorough() -> None:
    before = options_to_json(TagOptions())
    del before["thorough"]
    assert not options_from_json(before, 1).thorough
