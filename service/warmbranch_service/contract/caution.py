"""What an answer warns of."""

from __future__ import annotations

from pydantic import Field

from warmbranch_service.contract.fields import AnswerModel


class Caution(AnswerModel):
    """One thing to know before trusting or building."""

    code: str = Field(description="Stable identifier; those on safety begin with safety_.")
    message: str = Field(description="One or two sentences for people.")
    field: str = Field(description="Field of the request it hangs on; empty where it is none.")
