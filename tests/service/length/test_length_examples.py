"""The requests to start from are the caller's own."""

from __future__ import annotations

from warmbranch_service.length.examples import example, openapi_examples


def test_a_changed_example_leaves_the_next_one_alone():
    shown = openapi_examples()["loudness"]["value"]
    changed = example("loudness")
    changed["target"]["band_from_rpm"] = 2600
    changed["operating_points"].clear()
    assert example("loudness") == shown
    assert openapi_examples()["loudness"]["value"] == shown
