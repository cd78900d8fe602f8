"""What ``POST /v1/learn`` takes: finished jobs, and what was learned before them."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from warmbranch_service.case.calibration import Calibration
from warmbranch_service.case.shop import (
    DAY_RULE,
    FORM,
    MOST_KEPT,
    FormNumber,
    JobName,
    LearnedAt,
)
from warmbranch_service.contract.fields import RequestModel, refusal
from warmbranch_service.contract.rules import Said, given, rules, where
from warmbranch_service.fit.request import SAID, UNSAID, FitRequest

MOST_JOBS = 30
"""Of one request: each is fitted, which takes some tenths of a second, and one of several tubes
seconds. More are learned in parts, each added to the last."""

SOME: Said = {"minItems": 1}


def _some(name: str) -> Said:
    return {"required": [name], **where(**{name: SOME})}


class FinishedJob(FitRequest):
    """One finished job: what a fit takes, and a name.

    What a job is fitted with is the model's own belief: a calibration in its case is not looked
    at, for what it holds would be counted again. Nor is a target.
    """

    model_config = rules(
        *SAID,
        (_some("readings"), _some("heard")),
        unsaid={**UNSAID, "another_form": f"form is {FORM}."},
    )

    name: JobName = Field(
        description="Of the job, unlike that of every other.", examples=["blue van"]
    )
    form: FormNumber = Field(
        default=FORM, description=f"Of this object. Default {FORM}.", examples=[FORM]
    )

    @model_validator(mode="after")
    def _something_measured(self) -> FinishedJob:
        if not self.readings and not self.heard:
            raise refusal(
                "nothing_measured",
                f'Nothing was read or heard of the job "{self.name}", so it teaches nothing.',
                "Give its readings, what was heard, or both; or leave the job out.",
                at=["readings"],
                value=[],
            )
        return self


class LearnRequest(RequestModel):
    """Finished jobs of one shop, and what was learned before them."""

    model_config = rules(
        ({"required": ["jobs"], **where(jobs=SOME)}, given("earlier")),
        unsaid={
            **DAY_RULE,
            "job_twice": "No two jobs have one name, those of earlier.shop included.",
            "too_many_jobs": f"With those of earlier.shop there are {MOST_KEPT} jobs at most.",
            "no_shop": "earlier has a shop.",
        },
    )

    jobs: Annotated[list[FinishedJob], Field(max_length=MOST_JOBS)] = Field(
        default=[],
        description="Each is fitted by itself, then all are learned from together; more than "
        f"{MOST_JOBS} in parts, each with the last answer's calibration as earlier. Default none.",
    )
    earlier: Calibration | None = Field(
        default=None,
        description="A shop's calibration to add to, as POST /v1/learn returned it: what was kept "
        "of its jobs is not fitted again. Default null.",
    )
    learned_at: LearnedAt = Field(
        default=None,
        description="Day to be written into the calibration. Default null: none, for the service "
        "looks at no clock.",
        examples=["2026-11-29"],
    )

    @model_validator(mode="after")
    def _some_jobs_each_once(self) -> LearnRequest:
        if self.earlier is not None and self.earlier.shop is None:
            raise refusal(
                "no_shop",
                "This calibration is of one branch, by a fit: nothing was kept of its job.",
                "Give the calibration that POST /v1/learn returned, or the job itself.",
                at=["earlier", "shop"],
            )
        kept = [] if self.earlier is None or self.earlier.shop is None else self.earlier.shop.jobs
        known = {job.name: "earlier.shop" for job in kept}
        if not self.jobs and not kept:
            raise refusal(
                "no_job",
                "Nothing can be learned from no job.",
                "Give one finished job at least; three or more teach something.",
                at=["jobs"],
                value=[],
            )
        for place, job in enumerate(self.jobs):
            if job.name in known:
                raise refusal(
                    "job_twice",
                    f'The job "{job.name}" stands in {known[job.name]} already, and would count '
                    "twice.",
                    "Leave it out once, or give the other one a name of its own.",
                    at=["jobs", place, "name"],
                    value=job.name,
                )
            known[job.name] = f"jobs[{place}]"
        if len(known) > MOST_KEPT:
            raise refusal(
                "too_many_jobs",
                f"These are {len(known)} jobs together.",
                f"Give at most {MOST_KEPT}; the latest, or those most like the next.",
                at=["jobs"],
            )
        return self
