"""``POST /v1/learn`` from the outside: what comes back, and that adding is learning together."""

from __future__ import annotations

import copy

import pytest

from warmbranch.learn.summary import NAMES
from warmbranch_service.case.calibration import Calibration
from warmbranch_service.learn import kept as keeping


def taught(answer):
    """What was learned, without how it came about."""
    found = copy.deepcopy(answer)
    found["calibration"]["shop"]["jobs"].sort(key=lambda job: job["name"])
    return {
        "calibration": found["calibration"],
        "unknowns": found["unknowns"],
        "held_out": found["held_out"],
        "jobs": sorted(({**one, "is_new": None} for one in found["jobs"]), key=lambda o: o["name"]),
    }


def test_a_job_added_gives_what_all_together_give_to_the_last_digit(post, jobs, all_four):
    first = post({"jobs": jobs[:2]})
    second = post({"jobs": jobs[2:3], "earlier": first["calibration"]})
    third = post({"jobs": jobs[3:], "earlier": second["calibration"], "learned_at": "2026-11-29"})
    assert taught(third) == taught(all_four)
    assert [one["is_new"] for one in third["jobs"]] == [False, False, False, True]
    assert third["work"]["fits"] == 1


def test_what_is_kept_reads_back_as_it_was_written(all_four):
    shop = Calibration.model_validate(all_four["calibration"]).shop
    for job in shop.jobs:
        again = keeping.kept_of(
            keeping.summary_of(job, shop.unknowns),
            readings=job.readings,
            tones=job.tones,
            engine_order=job.engine_order,
        )
        assert again == job


def test_what_is_kept_in_another_order_is_the_same(post, all_four):
    """By name, not by place: a later model may know its unknowns in another order."""
    turned = copy.deepcopy(all_four["calibration"])
    shop = turned["shop"]
    shop["unknowns"].reverse()
    for job in shop["jobs"]:
        for row in (job["centre"], job["spread"], *job["seen"]):
            row.reverse()
        for name in ("straight", "curved"):
            job["tone"][name].reverse()
    again = post({"earlier": turned, "learned_at": "2026-11-29"})
    assert taught(again) == taught(all_four)


def test_the_order_of_jobs_does_not_matter(post, jobs, all_four):
    assert taught(post({"jobs": jobs[::-1], "learned_at": "2026-11-29"})) == taught(all_four)


def test_the_answer_tells_each_job_by_the_others(all_four):
    assert [one["name"] for one in all_four["jobs"]] == [f"van {i}" for i in range(4)]
    honesty = all_four["held_out"]
    told = [one["held_out"] for one in all_four["jobs"]]
    assert honesty["jobs"] == 4
    for level in ("within_50", "within_90"):
        assert honesty[level] == sum(one[level] for one in told)
    for one in told:
        low, high = one["from_others_rpm"]["interval_90"]
        assert one["within_90"] == (low <= one["heard_rpm"] <= high)
        assert one["heard_rpm"] == pytest.approx(30 * one["heard_Hz"], abs=0.2)  # order 2
    # Four alike jobs narrow, and what each says of it is in the one unit that it has.
    assert 0.5 < honesty["width_ratio"] < 1
    assert {one["name"] for one in all_four["unknowns"]} < set(NAMES)
    ratios = [one["width_ratio"] for one in all_four["unknowns"]]
    assert ratios == sorted(ratios)


def test_the_shop_says_what_it_was_learned_on(jobs, post):
    other = jobs[1]
    other["case"]["main_pipe"]["gas_temperature_degC"] = 350
    shop = post({"jobs": [jobs[0], other], "learned_at": "2026-11-29"})["calibration"]["shop"]
    assert (shop["form"], shop["learned_at"]) == (1, "2026-11-29")
    assert shop["learned_on"]["least"]["gas_temperature_degC"] == 310
    assert shop["learned_on"]["most"]["gas_temperature_degC"] == 350
    assert shop["learned_on"]["least"]["bore_mm"] == pytest.approx(45.3, abs=1e-6)


def test_one_job_alone_says_so(post, jobs):
    answer = post({"jobs": jobs[:1]})
    assert answer["held_out"] is None
    assert answer["jobs"][0]["held_out"] is None
    assert "hardly teaches" in answer["summary"]
    assert "few_jobs" in [one["code"] for one in answer["cautions"]]
    assert answer["calibration"]["shop"]["learned_at"] is None


def test_a_calibration_in_a_job_is_not_counted_again(post, jobs, all_four):
    jobs[0]["case"]["closures"] = {"calibration": all_four["calibration"]}
    answer = post({"jobs": jobs, "learned_at": "2026-11-29"})
    assert taught(answer) == taught(all_four)
    assert any("“van 0” was left aside" in said for said in answer["assumptions"])


def test_a_job_that_stands_apart_is_named_with_why(post, all_four):
    """What was kept of one, as if it had seen four spreads more: nothing of it fits the others."""
    odd = copy.deepcopy(all_four["calibration"])
    kept = odd["shop"]["jobs"]
    for i in range(8):
        kept.append({**copy.deepcopy(kept[i % 4]), "name": f"copy {i}"})
    kept.append({**copy.deepcopy(kept[0]), "name": "odd"})
    kept[-1]["shown"] = [value + 12 for value in kept[-1]["shown"]]
    answer = post({"earlier": odd})
    assert [one["name"] for one in answer["jobs"] if one["apart"]] == ["odd"]
    assert "“odd” stands apart" in answer["summary"]
    (caution,) = [one for one in answer["cautions"] if one["code"] == "job_apart"]
    assert "times what the others say" in caution["message"]


def test_tones_outside_too_often_are_called_so(post, all_four):
    wrong = copy.deepcopy(all_four["calibration"])
    for i, job in enumerate(wrong["shop"]["jobs"]):
        job["tone"]["heard"] += 0.2 * (-1) ** i
    answer = post({"earlier": wrong})
    assert answer["held_out"]["within_90"] == 0
    assert "shop_misses" in [one["code"] for one in answer["cautions"]]


def test_csv_and_report(client, all_four, jobs):
    from warmbranch_service.learn.answer_schema import LearnAnswer

    text = LearnAnswer.model_validate(all_four).report()
    first, last = text.splitlines()[0], text.strip().splitlines()[-2]
    assert first == last
    assert "van 3" in text
    response = client.post("/v1/learn", json={"jobs": jobs[:1]}, headers={"accept": "text/csv"})
    assert "jobs,1,name,van 0," in response.text


def test_a_thermometer_that_jobs_name_is_told_of_and_kept(post, jobs):
    for job in jobs[:3]:
        for reading in job["readings"]:
            reading["thermometer_name"] = "the yellow one"
    both = post({"jobs": jobs[:3]})
    (found,) = both["thermometers"]
    assert (found["thermometer"], found["thermometer_name"]) == ("infrared", "the yellow one")
    assert found["jobs"] == 3
    low, high = found["shows_too_much_90_percent"]
    assert low < found["shows_too_much_percent"] < high
    # No wider than what is believed of any thermometer, and in words.
    assert high - low < 2 * 1.65 * 1.5 + 0.1
    assert "the yellow one" in found["message"]
    first = post({"jobs": jobs[:2]})
    added = post({"jobs": jobs[2:3], "earlier": first["calibration"]})
    assert added["thermometers"] == both["thermometers"]
    assert taught(added) == taught(both)


def test_a_shop_that_was_kept_before_thermometers_had_names_is_read(post, all_four):
    old = copy.deepcopy(all_four["calibration"])
    for job in old["shop"]["jobs"]:
        assert job.pop("thermometers") == []
    assert post({"earlier": old})["thermometers"] == []
